"""Answer of `chain budget`: the losses of a set-up with the terms a reader wants distinguished, and its levels."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from chain.arrays import Real
from chain.assembly.budget import Budget, budget, levels
from chain.results import SCHEMA_VERSION, ResultTable, plain_values
from chain.setups import Setup
from library.frozen import dataclass

if TYPE_CHECKING:
    from skrf.network import Network


@dataclass(frozen=True, repr=False)
class Account(ResultTable):
    """Losses of a set-up over frequency, source matched to the near impedance and load to the far one.

    Transducer loss is `near_mismatch_loss_db + dissipative_loss_db`, and also the items, the joints and the interaction.
    """

    setup: Setup
    budget: Budget
    near_mismatch_loss_db: Real
    """Share of the available power reflected at the near end, as a loss."""
    dissipative_loss_db: Real
    """Power going in at the near end over power delivered at the far end."""
    levels_db: dict[str, Real]

    def headline(self) -> str:
        """Title, references, and the largest loss."""
        return f"{self.setup.title}: {self.budget.headline()}"

    def table(self) -> dict[str, Any]:
        """Losses of the whole, then the attenuation of each item, over frequency."""
        return self.budget.table()

    def to_network(self) -> Network:
        """The chain as a scikit-rf two-port, near end in the near impedance, far end in the far one."""
        return self.budget.to_network()

    def to_dict(self) -> dict[str, object]:
        """Plain values under the contracted keys."""
        found = self.budget
        own = {
            **vars(found),
            "items": [vars(item) for item in found.items],
            "joints": [vars(joint) for joint in found.joints],
            "near_mismatch_loss_db": self.near_mismatch_loss_db,
            "dissipative_loss_db": self.dissipative_loss_db,
            "levels_db": self.levels_db,
        }
        head = {
            "schema_version": SCHEMA_VERSION,
            "title": self.setup.title,
            "warnings": self.setup.warnings,
            "assumed": self.setup.assumed,
        }
        nulls = _nulls(found)
        return plain_values({**head, **own, **({"null_means": nulls} if nulls else {})})  # type: ignore[return-value]


def _nulls(found: Budget) -> dict[str, str]:
    """Say why a figure is null where one is."""
    names = ("near_return_loss_db", "far_return_loss_db", "transducer_loss_db", "insertion_loss_db")
    return {name: "infinite" for name in names if not np.all(np.isfinite(getattr(found, name)))}


def account(setup: Setup) -> Account:
    """Losses of a set-up with every unknown at zero.

    Parameters
    ----------
    setup : the set-up.

    Returns
    -------
    Account.

    Raises
    ------
    FitError, RangeError : see `chain.assembly.cascade.build`.

    Examples
    --------
    >>> from chain import account, load_setup
    >>> found = account(load_setup("demo/boathouse.toml"))
    >>> total = found.near_mismatch_loss_db + found.dissipative_loss_db
    >>> bool(np.allclose(total, found.budget.transducer_loss_db))
    True

    Source
    ------
    -10 log10(1 - |S11|^2) with the far end matched; the rest of the transducer loss is heat.
    """
    found = budget(setup)
    # Adding zero turns the -0.0 of a perfect match into 0.0, which prints without a sign.
    mismatch = -10 * np.log10(1 - found.reflected_share) + 0.0
    # What goes in and is not delivered is heat: the far end is matched there, so that nothing else is lost.
    return Account(setup, found, mismatch, found.transducer_loss_db - mismatch, levels(found))
