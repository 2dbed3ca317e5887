"""Where work is done, as far as it decides whether it has to be notified."""

from collections.abc import Mapping

PLACES: Mapping[str, str] = {
    "living": "Living room",
    "bedroom": "Bedroom",
    "kitchen": "Kitchen",
    "bathroom": "Bathroom, not known how near to bath or shower",
    "bath_zone": "Bathroom, in the zones round bath or shower",
    "bathroom_clear": "Bathroom, outside the zones",
    "wc": "WC",
    "hall": "Hall",
    "landing": "Landing",
    "utility": "Utility room",
    "store": "Store or cupboard",
    "outdoor": "Outdoors or outbuilding",
    "other": "Elsewhere in the home",
}
"""Uses of rooms, and the places that no room stands for."""
MEANS: Mapping[str, tuple[str, ...]] = {"bathroom": ("bath_zone", "bathroom_clear")}
"""Places that may be either of others."""
