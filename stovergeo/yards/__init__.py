"""Stack yards: rating the ground, finding the best places, laying out the rows."""

from stovergeo.yards.areas import setback_areas
from stovergeo.yards.explain import Answer, forbidden_shares, why_here
from stovergeo.yards.rate import GroundRatings, rate_ground
from stovergeo.yards.search import FoundYards, find_yards
from stovergeo.yards.sheet import sun_months
from stovergeo.yards.site import Criterion, NotChecked, Rating, Site, SiteOptions

__all__ = [
    "Answer",
    "Criterion",
    "FoundYards",
    "GroundRatings",
    "NotChecked",
    "Rating",
    "Site",
    "SiteOptions",
    "find_yards",
    "forbidden_shares",
    "rate_ground",
    "setback_areas",
    "sun_months",
    "why_here",
]
