"""The standing cautions, word for word the same wherever they appear."""

from __future__ import annotations

ADVICE_ONLY = (
    "Leafweather records and advises. It controls nothing, and it is not a life-safety device: "
    "never rely on it to warn or protect people."
)
CO2 = (
    "CO2 can injure and kill without warning. If the level may be dangerous, leave, do not enter alone, and "
    "ventilate from outside. Only a certified gas detector and alarm protects people; follow your local code."
)
ACID_AND_BASE = (
    "Acids and bases burn. Wear eye protection and gloves, add acid to water and never water to acid, and follow "
    "the supplier's safety data sheet and your local rules."
)
MAINS = "Mains voltage kills. Leave work inside electrical equipment to licensed people, and follow your local code."

# What every screen and file says of itself.
STANDING = (
    ADVICE_ONLY,
    "A certified gas detector protects people from CO2; a number here does not.",
    "Follow local codes on gas, chemicals, mains and enclosed spaces; leave such work to people licensed for it.",
)
