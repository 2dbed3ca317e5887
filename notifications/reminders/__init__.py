"""What people are to be reminded of, worked out from what is on record and from what was said: no schedule is trusted.

`plan` is pure: a concern, its day and the lead times give the milestone that is reached. `sources` find the concerns
of an agency; `readers` says who is told; `digest` and `at_once` say what is not said yet and write that down, in one
transaction with the message.
"""
