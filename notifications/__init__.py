"""Telling people, and never twice. `outbox` will be a leaf that any app may call; nothing is sent yet."""
