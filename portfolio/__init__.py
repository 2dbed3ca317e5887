"""What we hold, what the law asks of it on a day, and the gate.

May import: `portfolio.law` (pure), `notifications.outbox` (a leaf). Never `inspections`: facts about
defects reach the gate through settings.FACT_SOURCES.
"""
