"""Loop currents: a batch of branch equations condensed to one unknown for each loop.

The drops of a spanning tree and the currents of the links beside it give every voltage and current by sums of plus and
minus one, so that only the links remain as unknowns: a current of microamperes through a milliohm is still one of them,
or a sum of them, and no difference of two voltages. What differs from member to member, as a fault that opens a branch
of the tree or closes a link, is one more unknown of that member alone.
"""

from __future__ import annotations

import functools
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from ignition.network.branches import Branches
from ignition.network.linear import Indices
from ignition.network.tree import Tree
from ignition.typing import BoolArray, FloatArray

__all__ = ["Loops"]

_COMMON = 0.25
"""Share of the members in which a link conducts from which on it is an unknown in all of them [1]."""

_WORTH_SORTING = 64
"""Members from which on those of fewer unknowns are solved apart [1]."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Loops:
    """Loop equations of a batch, set up once for its solution and for what outputs gain by each value.

    Attributes
    ----------
    systems : Members of alike many unknowns together
    """

    tree: Tree
    branches: Branches
    systems: tuple[_System, ...]

    @classmethod
    def of(cls, tree: Tree, branches: Branches, most: int) -> Loops | None:
        """Set the loop equations up; None where a member has too many unknowns.

        Parameters
        ----------
        tree : Of resistors and sources; few of its branches are open in any member
        most : Unknowns that a member may have [1]
        """
        common, own = _unknowns(tree, branches)
        counts = own.sum(axis=1)
        if len(common) + int(counts.max(initial=0)) > most:
            return None
        return cls(tree=tree, branches=branches, systems=tuple(_systems(tree, branches, common, own, counts)))

    def take(self, members: Indices) -> Loops | None:
        """Return the equations of some members; None where they would have to be sorted anew.

        Parameters
        ----------
        members : Their places in the batch, shape (m,)
        """
        if len(self.systems) != 1:
            return None
        system = self.systems[0].take(members)
        return Loops(tree=self.tree, branches=self.branches.take(members), systems=(system,))

    def solve(self) -> FloatArray:
        """Solve for node voltages [V] and element currents [A], shape (batch, nodes + elements).

        Raises numpy's LinAlgError where a member is singular.
        """
        tree, branches = self.tree, self.branches
        nodes = len(tree.paths) - 1
        found = np.empty((branches.batch, nodes + branches.slope.shape[1]))
        for system in self.systems:
            unknown = _solved(system.matrix, system.right[..., None])
            links, opened = system.scatter(unknown)
            links = system.known + links[..., 0]
            currents = -_sums(links, tree.loops)
            drops = system.source + system.resistance * currents + opened[..., 0]
            members = system.members[:, None]
            found[members, np.arange(nodes)] = _sums(drops, tree.paths[:nodes].T)
            found[members, nodes + tree.branches] = currents
            found[members, nodes + tree.links] = links
        return found

    def adjoint(self, weights: FloatArray) -> FloatArray:
        """Return what outputs gain by each branch equation's right side [1/SI], shape (batch, elements, outputs).

        Raises numpy's LinAlgError where a member is singular.

        Parameters
        ----------
        weights : Output weights on node voltages and element currents [1], shape (batch, outputs, nodes + elements)
        """
        tree, branches = self.tree, self.branches
        nodes = len(tree.paths) - 1
        found = np.empty((branches.batch, weights.shape[1], branches.slope.shape[1]))
        for system in self.systems:
            own = weights[system.members]
            by_drop = _sums(own[..., :nodes], tree.paths[:nodes])
            by_branch, by_link = own[..., nodes + tree.branches], own[..., nodes + tree.links]
            direct = by_link - _sums(by_drop * system.resistance[:, None, :] + by_branch, tree.loops.T)
            values = _solved(system.matrix.swapaxes(1, 2), system.gather(direct, by_drop).swapaxes(1, 2))
            links, opened = (each.swapaxes(1, 2) for each in system.scatter(values))
            slope, resistance = branches.slope[system.members], branches.resistance[system.members]
            answered = by_drop + _sums(slope[:, None, tree.links] * links, tree.loops)
            in_tree = np.where(system.opened[:, None, :], opened, answered)
            known = by_link - _sums(resistance[:, None, tree.branches] * in_tree + by_branch, tree.loops.T)
            members, outputs = system.members[:, None, None], np.arange(weights.shape[1])[:, None]
            found[members, outputs, tree.branches] = in_tree
            found[members, outputs, tree.links] = np.where(system.unknown[:, None, :], -links, -known)
        return found.swapaxes(1, 2)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _System:
    """Loop equations of some members.

    Attributes
    ----------
    members : Their places in the batch, shape (m,)
    common : Links that are unknowns in all of them, by place among the links
    slots : Further unknowns of each: the place of a link, or after all links of a branch of the tree whose drop it is;
        after all branches none; shape (m, slots)
    opened, unknown : Which branches of the tree are open, (m, branches), and which links are unknowns, (m, links)
    resistance, source : Of the tree's branches, zero where one is open [ohm, V], shape (m, branches)
    known : Current of each link that is no unknown, zero for the others [A], shape (m, links)
    """

    members: Indices
    common: Indices
    slots: Indices
    opened: BoolArray
    unknown: BoolArray
    resistance: FloatArray
    source: FloatArray
    known: FloatArray
    matrix: FloatArray
    right: FloatArray

    def take(self, members: Indices) -> _System:
        """Pick some members, which are numbered anew."""
        return _System(
            members=np.arange(len(members)),
            common=self.common,
            slots=self.slots[members],
            opened=self.opened[members],
            unknown=self.unknown[members],
            resistance=self.resistance[members],
            source=self.source[members],
            known=self.known[members],
            matrix=self.matrix[members],
            right=self.right[members],
        )

    def scatter(self, values: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Put what belongs to the unknowns, (m, unknowns, k), in place among links and branches, zero elsewhere."""
        links = self.known.shape[1]
        every = np.zeros((len(values), links + self.source.shape[1] + 1, values.shape[2]))
        every[:, self.common] = values[:, : len(self.common)]
        every[np.arange(len(values))[:, None], self.slots] = values[:, len(self.common) :]
        return every[:, :links], every[:, links:-1]

    def gather(self, of_links: FloatArray, of_branches: FloatArray) -> FloatArray:
        """Pick what belongs to the unknowns from what links and branches have, (m, k, links) and (m, k, branches)."""
        every = np.concatenate([of_links, of_branches, np.zeros((*of_links.shape[:2], 1))], axis=2)
        own = np.take_along_axis(every, self.slots[:, None, :], axis=2)
        return np.concatenate([of_links[..., self.common], own], axis=2)


def _unknowns(tree: Tree, branches: Branches) -> tuple[Indices, BoolArray]:
    """Links that conduct in many members, and what else is an unknown of each, among links and then branches."""
    conducts = branches.slope[:, tree.links] != 0.0
    common = conducts.mean(axis=0) >= _COMMON if len(conducts) else conducts.any(axis=0)
    opened = branches.slope[:, tree.branches] != 1.0
    return np.flatnonzero(common), np.concatenate([conducts & ~common, opened], axis=1)


def _systems(tree: Tree, branches: Branches, common: Indices, own: BoolArray, counts: Indices) -> Iterator[_System]:
    """Set the loop equations up, of members with alike many unknowns together."""
    if len(own) < _WORTH_SORTING or not counts.any():
        yield _system(tree, branches, np.arange(len(own)), common, _slots(own, counts))
        return
    sizes = np.ceil(np.log2(np.maximum(counts, 2)))
    for size in np.unique(sizes):
        members = np.flatnonzero(sizes == size)
        yield _system(tree, branches.take(members), members, common, _slots(own[members], counts[members]))


def _slots(own: BoolArray, counts: Indices) -> Indices:
    """Places of what only some members have as unknowns, (m, slots); after all places where a member has fewer."""
    most = int(counts.max(initial=0))
    if not most:
        return np.empty((len(own), 0), dtype=np.intp)
    slots = np.argsort(~own, axis=1, kind="stable")[:, :most]
    return np.where(np.take_along_axis(own, slots, axis=1), slots, own.shape[1])


def _system(tree: Tree, branches: Branches, members: Indices, common: Indices, slots: Indices) -> _System:
    own = np.arange(len(members))[:, None]
    a, b, c = branches.slope, branches.resistance, branches.right
    opened = a[:, tree.branches] != 1.0
    resistance, source = (np.where(opened, 0.0, each[:, tree.branches]) for each in (b, c))
    unknown = np.zeros((len(members), len(tree.links) + len(tree.branches) + 1), dtype=bool)
    unknown[:, common] = True
    unknown[own, slots] = True
    unknown = unknown[:, : len(tree.links)]
    known = np.where(unknown, 0.0, -c[:, tree.links] / np.where(unknown, 1.0, b[:, tree.links]))
    into_tree = -_sums(known, tree.loops)
    driven = source + resistance * into_tree
    loops, products = _common_loops(tree, common.tobytes())
    count, size = len(common), len(common) + slots.shape[1]
    matrix, right = np.zeros((len(members), size, size)), np.empty((len(members), size))
    a0, b0, c0 = (each[:, tree.links[common]] for each in (a, b, c))
    matrix[:, :count, :count] = a0[..., None] * _sums(resistance, products).reshape(len(members), count, count)
    matrix[:, np.arange(count), np.arange(count)] += b0
    right[:, :count] = a0 * _sums(driven, loops.T) - c0
    if slots.shape[1]:
        # vectors of what each slot runs through: a link's loop, a branch of the tree itself, nothing
        vectors = np.concatenate([tree.loops, np.eye(len(tree.branches)), np.zeros((1, len(tree.branches)))])[slots]
        places = np.concatenate([tree.links, tree.branches, [-1]])[slots]
        link, none = (slots < len(tree.links))[..., None], slots == len(vectors[0, 0]) + len(tree.links)
        a1, b1, c1 = (np.where(none, 0.0, each[own, places])[..., None] for each in (a, b, c))
        loaded = vectors * resistance[:, None, :]
        bare, through = (np.einsum("nt,bkt->bkn", loops, each) for each in (vectors, loaded))
        matrix[:, :count, count:] = a0[..., None] * np.where(link, through, -bare).swapaxes(1, 2)
        matrix[:, count:, :count] = np.where(link, a1 * through, b1 * bare)
        bare, through = (np.einsum("bkt,blt->bkl", vectors, each) for each in (vectors, loaded))
        to_link = link.swapaxes(1, 2)
        among = np.where(link, a1 * np.where(to_link, through, -bare), np.where(to_link, b1 * bare, 0.0))
        diagonal = np.where(link[..., 0], b1[..., 0], np.where(none, 1.0, a1[..., 0]))
        matrix[:, count:, count:] = among + diagonal[:, :, None] * np.eye(slots.shape[1])
        by_drops, by_known = (np.einsum("bkt,bt->bk", vectors, each) for each in (driven, into_tree))
        a1, b1, c1 = (each[..., 0] for each in (a1, b1, c1))
        right[:, count:] = np.where(link[..., 0], a1 * by_drops - c1, c1 + b1 * by_known)
    return _System(
        members=members,
        common=common,
        slots=slots,
        opened=opened,
        unknown=unknown,
        resistance=resistance,
        source=source,
        known=known,
        matrix=matrix,
        right=right,
    )


@functools.lru_cache(maxsize=512)
def _common_loops(tree: Tree, common: bytes) -> tuple[FloatArray, FloatArray]:
    """Loops of some links, (links, branches), and what each two of them share, (branches, links * links)."""
    loops = tree.loops[np.frombuffer(common, dtype=np.intp)]
    products = (loops[:, None, :] * loops[None, :, :]).reshape(len(loops) ** 2, len(tree.branches))
    return loops, np.ascontiguousarray(products.T)


def _solved(matrix: FloatArray, right: FloatArray) -> FloatArray:
    found = np.asarray(np.linalg.solve(matrix, right), dtype=float)
    if not np.all(np.isfinite(found)):
        raise np.linalg.LinAlgError("Singular matrix")
    return found


def _sums(values: FloatArray, signs: FloatArray) -> FloatArray:
    """Sums of (..., n) by (n, m); no matrix product, which a BLAS would split over its threads."""
    return np.asarray(np.einsum("...n,nm->...m", values, signs))
