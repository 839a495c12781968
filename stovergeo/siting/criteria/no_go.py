"""Places the landowner has refused."""

from __future__ import annotations

import numpy as np

from stovergeo.core.messages import Message
from stovergeo.siting.site import NotChecked, Rating, Site, SiteOptions, around, message


class NoGo:
    """Forbids refused places, and a lane's width around them so that no machine circles on them."""

    name = "no_go"
    title = "Not refused by the landowner"
    reads = ()
    source = "the landowner's answer"
    order = 1

    def rate(self, site: Site, options: SiteOptions) -> Rating | NotChecked:
        """Forbid the layer `no_go`; none given means nothing is refused."""
        frame = site.layer("no_go")
        lane = options.coefficients.value("yards.lane")
        if frame is None:
            return site.rating(site.everywhere(1.0), site.everywhere(True), site.everywhere(1.0), "1", limit=lane)
        keep_out = around(frame.geometry, lane)
        refused = site.touched([keep_out])
        clear_of = frame.geometry.to_numpy(), np.full(len(frame), lane)
        return site.rating(~refused, ~refused, ~refused, "1", limit=lane, keep_out=keep_out, clear_of=clear_of)

    def message(self, value: float, score: float, allowed: bool, *, limit: float) -> Message:
        """Say whether the place was refused."""
        return message("no_go.not_refused" if allowed else "no_go.refused")


CRITERION = NoGo()
