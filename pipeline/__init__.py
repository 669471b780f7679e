"""viewworthy: from saved adverts of older vehicles to the few worth travelling to."""

__version__ = "0.1.0"
