"""Reads adverts with their facts and gives links: which adverts look to be of one vehicle, and why."""

from pipeline.linking.linking import LOOKED_AT, Link, Linkable, group, link

__all__ = ["LOOKED_AT", "Link", "Linkable", "group", "link"]
