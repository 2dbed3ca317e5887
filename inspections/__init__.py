"""What is wrong with a home and how it is put right.

May import `portfolio`. The gate learns of defects through `inspections.facts`, named in settings.FACT_SOURCES.
"""
