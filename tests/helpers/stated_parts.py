"""Parts of the coverage world as a user would state them."""

import strategies as made
from coverage_world import Adapter, Pad, Resistors


def item_of(part):
    """An item of the set-up for a part of the world."""
    match part:
        case Adapter():
            got = made.adapter(
                part.ohm, part.length_m, part.loss_1ghz_db, part.limit_db, part.length_tolerance_m, part.shape
            )
            return made.item(got, "adapter")
        case Pad():
            got = made.pad(part.loss_db, *part.ohms, part.tolerance_db, part.near_db, part.far_db, kind=part.shape)
            return made.item(got, "pad")
        case Resistors():
            return made.item(made.ladder(part.arms, *part.ohms, part.tolerance), "pad")
    limit_db = None if part.limit_db == 400 else part.limit_db
    got = made.coax(
        part.ohm, part.per_root, part.per_mhz, part.velocity_factor, limit_db, part.ohm_tolerance, part.loss_tolerance
    )
    return made.item(got, "lead", length_m=part.length_m, length_tolerance_m=part.length_tolerance_m)
