"""Spreadsheets in and out: what agents really keep, read with care and written so that nothing in them runs."""
