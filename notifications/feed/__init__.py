"""A person's calendar: a secret address from which a calendar program fetches what runs out, falls due and is to come.

`services` make and end the address; `entries` finds what stands in it for this person; `ical` writes it by RFC 5545.
"""
