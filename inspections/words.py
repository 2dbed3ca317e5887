"""The plain English for the codes of this app; those of schemes and classes are in `portfolio.words`."""

TRADE = {
    "electrical": "Electrician",
    "gas": "Gas engineer",
    "plumbing": "Plumber",
    "ventilation": "Ventilation, damp or building work",
    "fire": "Fire alarms, doors and stopping",
    "appliance": "Appliance repair",
    "distributor": "Electricity network or meter operator",
    "other": "Other trade",
}
TRADE_OF = {"bs7671": "electrical", "igem_g11": "gas", "fire": "fire", "damp_mould": "ventilation"}
"""Who usually mends a defect of a scheme; the other schemes say nothing about the trade."""
REGISTRATION = {
    "gas": "Gas registration",
    "electrical": "Electrical competent-person scheme",
    "fire": "Fire safety certification",
    "insurance": "Public liability insurance",
    "other": "Other registration",
}
LOOK = {"nothing": "Nothing found", "not_seen": "Could not be seen"}
STAGE = {"before": "Before the work", "after": "After the work"}
ANSWER = {"accepted": "Accepted", "declined": "Declined"}
BAND = {0: "Stop now", 1: "Urgent", 2: "Soon", 3: "Plan", 4: "Note"}
"""How soon a defect has to be seen to, the most pressing first."""
