"""Telling people, and never twice.

`outbox` is a leaf that any app may call: it writes a message in the transaction of its cause. `sending` claims what
is due, hands it to the mail server and records the answer; `tasks` and the time-table in settings make that happen.
May import `portfolio` and `inspections`; `outbox` and `models` neither of them.
"""
