"""Trying the sending of messages under trouble: real processes are killed, a real mail server misbehaves."""
