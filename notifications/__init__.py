"""Telling people, and never twice. `outbox` is a leaf that any app may call; nothing is sent yet."""
