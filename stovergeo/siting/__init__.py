"""Stack yards: rating the ground, finding the best places, laying out the rows."""

from stovergeo.siting.explain import forbidden_shares
from stovergeo.siting.rate import GroundRatings, check_yards, rate_ground, setback_areas
from stovergeo.siting.search import FoundYards, find_yards
from stovergeo.siting.sheet import sun_months
from stovergeo.siting.site import Criterion, NotChecked, Rating, Site, SiteOptions

__all__ = [
    "Criterion",
    "FoundYards",
    "GroundRatings",
    "NotChecked",
    "Rating",
    "Site",
    "SiteOptions",
    "check_yards",
    "find_yards",
    "forbidden_shares",
    "rate_ground",
    "setback_areas",
    "sun_months",
]
