"""Mails that do something: papers sent to whoever is owed them, and a contractor asked to renew one.

`choice` says what there is to send, `letter` puts it into words and files, `send` leaves it with the outbox. What the
mail server's acceptance proves is recorded by `after`, what speaks against sending it by `causes`. `pack` is the cover
of what goes to a council; `renewal` asks a contractor.
"""
