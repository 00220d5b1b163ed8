"""Where every dB goes: losses of the chain distinguished, and shares of the source's power that add up to one."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from chain.arrays import Complex, Real
from chain.assembly.cascade import Chain, build
from chain.reflection import dbm_to_dbuv, return_loss_db
from chain.results import ResultTable, network
from chain.rf import twoport
from chain.rf.elements import Element, aligned, nominal
from chain.setups import Setup
from library.frozen import dataclass

if TYPE_CHECKING:
    from skrf.network import Network


@dataclass(frozen=True)
class ItemShare:
    """An item's own loss, matched at both of its impedances, and the share of the source's power it turns into heat."""

    id: str
    attenuation_db: Real
    dissipated_share: Real


@dataclass(frozen=True)
class JointLoss:
    """What a joint's step between two nominal impedances reflects, taken by itself."""

    near: str
    far: str
    mismatch_loss_db: float


@dataclass(frozen=True, repr=False)
class Budget(ResultTable):
    """A chain's losses over frequency, source matched to `near_ohm` and load to `far_ohm`."""

    COLUMNS = (
        "freq_hz",
        "transducer_loss_db",
        "insertion_loss_db",
        "near_return_loss_db",
        "far_return_loss_db",
        "reflected_share",
        "delivered_share",
    )

    freq_hz: Real
    near_ohm: float
    far_ohm: float
    s: Complex
    transducer_loss_db: Real
    insertion_loss_db: Real
    near_return_loss_db: Real
    far_return_loss_db: Real
    reflected_share: Real
    delivered_share: Real
    items: tuple[ItemShare, ...]
    joints: tuple[JointLoss, ...]
    interaction_db: Real

    @property
    def worst(self) -> int:
        """Index of the frequency with the largest transducer loss."""
        return int(np.argmax(self.transducer_loss_db))

    def headline(self) -> str:
        """The references, and the largest loss."""
        worst = f"{self.transducer_loss_db[self.worst]:.2f} dB at {self.freq_hz[self.worst] / 1e6:g} MHz"
        return f"{self.near_ohm:g} ohm to {self.far_ohm:g} ohm: transducer loss up to {worst}"

    def table(self) -> dict[str, Any]:
        """Losses of the whole, then the attenuation of each item, over frequency."""
        return {**super().table(), **{f"{item.id}_attenuation_db": item.attenuation_db for item in self.items}}

    def to_network(self) -> Network:
        """The chain as a scikit-rf two-port, near end in `near_ohm`, far end in `far_ohm`."""
        return network(self.freq_hz, self.s, [self.near_ohm, self.far_ohm], "chain")


def budget(chain: Chain | Setup) -> Budget:
    """Loss budget of a chain with every unknown at zero.

    Parameters
    ----------
    chain : the chain at its frequencies, or a set-up, at those of its sweep.

    Returns
    -------
    Budget. `reflected_share + delivered_share + sum of dissipated_share` is 1 at every frequency.

    Examples
    --------
    >>> from chain import budget, load_setup
    >>> found = budget(load_setup("demo/boathouse.toml"))
    >>> round(float(found.transducer_loss_db[0]), 2)
    5.83

    Source
    ------
    Transducer loss: available power of the source over power in the load, 1/|S21|^2 between the two references.
    Insertion loss: the same less what a direct connection of source and load would lose.
    """
    chain = build(chain) if isinstance(chain, Setup) else chain
    s = nominal(chain.elements, chain.near_ohm, chain.far_ohm, chain.freq_hz)
    transducer = _db(1 / np.abs(s[..., 1, 0]) ** 2)
    # Source and load of unequal resistance lose something joined directly, and insertion loss is measured against that.
    direct = float(-20 * np.log10(abs(twoport.step(chain.near_ohm, chain.far_ohm)[1, 0])))
    between = {found.id for found in chain.joints}
    items = _shares(chain, [name for name, _ in chain.groups if name not in between])
    joints = tuple(JointLoss(found.near.name, found.far.name, found.mismatch_loss_db) for found in chain.joints)
    explained = sum((item.attenuation_db for item in items), np.zeros(chain.freq_hz.shape))
    # What is left over is how reflections meet one another: no item and no joint has it alone, and it may be a gain.
    explained = explained + sum(joint.mismatch_loss_db for joint in joints)
    return Budget(
        chain.freq_hz,
        chain.near_ohm,
        chain.far_ohm,
        s,
        transducer,
        transducer - direct,
        return_loss_db(s[..., 0, 0]),
        return_loss_db(s[..., 1, 1]),
        np.abs(s[..., 0, 0]) ** 2,
        np.abs(s[..., 1, 0]) ** 2,
        items,
        joints,
        transducer - explained,
    )


def _db(ratio: Real) -> Real:
    with np.errstate(divide="ignore"):
        return np.asarray(10 * np.log10(ratio))


def _shares(chain: Chain, ids: Sequence[str]) -> tuple[ItemShare, ...]:
    """Heat in each item: the drop of net power between its two ends, waves followed from the source."""
    tagged = _tagged(chain)
    # From the load backwards first: how much goes into an item depends on all that lies behind it.
    looking = [np.zeros(chain.freq_hz.shape, dtype=complex)]
    for _, s in reversed(tagged):
        looking.append(twoport.input_reflection(s, looking[-1]))
    looking.reverse()
    heat = {name: np.zeros(chain.freq_hz.shape) for name in ids}
    loss = {name: np.zeros(chain.freq_hz.shape) for name in ids}
    forward = np.ones(chain.freq_hz.shape)
    for index, (name, s) in enumerate(tagged):
        # Net power, incident less reflected, which is the same on either side of a step; powers of single waves are not.
        inside = forward * (1 - np.abs(looking[index]) ** 2)
        forward = forward * np.abs(s[..., 1, 0] / (1 - s[..., 1, 1] * looking[index + 1])) ** 2
        if name in heat:
            heat[name] = heat[name] + inside - forward * (1 - np.abs(looking[index + 1]) ** 2)
    for name, group in chain.groups:
        if name in loss:
            loss[name] = _own_loss_db(group, chain.freq_hz)
    return tuple(ItemShare(name, loss[name], heat[name]) for name in ids)


def _tagged(chain: Chain) -> list[tuple[str, Complex]]:
    owner = {id(element): name for name, group in chain.groups for element in group}
    joined = aligned(chain.elements, chain.near_ohm, chain.far_ohm, chain.freq_hz)
    return [(owner.get(id(element), ""), element.nominal()) for element in joined]


def _own_loss_db(group: Sequence[Element], freq_hz: Real) -> Real:
    """Loss of an item matched at both of its own impedances; a line's is that of its own waves."""
    total = np.zeros(freq_hz.shape)
    for element in group:
        loss_np = getattr(element, "loss_np", None)
        if loss_np is not None:
            # By its attenuation and not by S21, which of a line in another impedance holds mismatch as well.
            total = total + loss_np * 20 / np.log(10)
        else:
            total = total + _db(1 / np.abs(element.nominal()[..., 1, 0]) ** 2)
    return total


def levels(found: Budget) -> dict[str, Real]:
    """Corrections between levels at the two ends, power going from the far end to the near one.

    Parameters
    ----------
    found : a budget.

    Returns
    -------
    dict of arrays over frequency [dB]: what to add to a near-end figure to state the far-end level, as power
    (`power_db`), as voltage (`voltage_db`), from dBm at the near end to dBuV at the far (`dbm_to_far_dbuv`), and what
    a voltage loses going from near to far (`near_to_far_voltage_db`).

    Examples
    --------
    >>> from chain import budget, levels, load_setup
    >>> found = levels(budget(load_setup("demo/boathouse.toml")))
    >>> round(float(found["voltage_db"][0] - found["power_db"][0]), 4)
    1.7609

    Source
    ------
    Reciprocity; voltage and power differ by 10 log10 of the ratio of the resistances.
    """
    loss = found.transducer_loss_db
    # U^2 = P R: the same power is a higher voltage across 75 ohm, by 1.76 dB over 50.
    ratio_db = float(10 * np.log10(found.far_ohm / found.near_ohm))
    return {
        "power_db": loss,
        "voltage_db": loss + ratio_db,
        "near_to_far_voltage_db": loss - ratio_db,
        "dbm_to_far_dbuv": loss + dbm_to_dbuv(found.far_ohm),
    }
