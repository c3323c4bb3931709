"""The kinds of adjuster there are, by slug, and what is asked of an engine's adjusters whatever kind they are."""

from collections.abc import Mapping
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from app.sync.engine.adjusters.kind import AdjusterKind, ScrewWithGain
from app.sync.engine.events import Move
from app.sync.engine.layout import Adjuster, Coupler, Layout, StopScrew

_KINDS: dict[str, AdjusterKind] = {}


def register(kind: AdjusterKind) -> None:
    """Let a kind of adjuster be found by its slug.

    Parameters: ``kind`` to add. Raises ValueError where another one goes by that slug.
    """
    if kind.slug in _KINDS:
        raise ValueError(f"a kind of adjuster goes by {kind.slug} already")
    _KINDS[kind.slug] = kind


def unregister(slug: str) -> None:
    """Forget a kind of adjuster again.

    Parameters: ``slug`` of the kind. Raises KeyError where there is none.
    """
    del _KINDS[slug]


def kind_of(slug: str) -> AdjusterKind:
    """The kind of that slug.

    Parameters: ``slug`` as in records and JSON. Raises KeyError where there is none.

    >>> kind_of("bypass").unit, kind_of("bypass").positive
    ('turns', 'out')
    """
    return _KINDS[slug]


def kinds() -> tuple[AdjusterKind, ...]:
    """Every kind, in the order they were registered.

    >>> [kind.slug for kind in kinds()]
    ['stop', 'blade', 'screw', 'link', 'bypass']
    """
    return tuple(_KINDS.values())


def kind_at(layout: Layout, adjuster: Adjuster) -> AdjusterKind:
    """The kind of an adjuster of an engine.

    Parameters: ``layout`` of the engine; ``adjuster`` one of its own. Raises KeyError for a kind that is not there.
    """
    for kind in _KINDS.values():
        if kind.holds(layout, adjuster):
            return kind
    raise KeyError(adjuster)


def kind_called(adjuster: Adjuster) -> AdjusterKind:
    """The kind that an adjuster is called by, which the engine's layout makes no difference to: both kinds of coupler
    are couplers.

    Parameters: ``adjuster`` of any engine. Raises KeyError for a kind that is not there.
    """
    for kind in _KINDS.values():
        if kind.may_be(adjuster):
            return kind
    raise KeyError(adjuster)


def adjuster_of(move: Move) -> Adjuster:
    """What a move was made at.

    Parameters: ``move`` made.
    """
    return kind_of(move.kind).adjuster(move.place)


def adjusters(layout: Layout) -> tuple[Adjuster, ...]:
    """Every adjuster of an engine, bank by bank: kind by kind in the order of ``kinds``, each in walking order.

    Parameters: ``layout`` of the engine. A single bank has no link rod to set against another.

    >>> from app.sync.engine.layout import Bank
    >>> twins = Bank("A", (1, 2, 3, 4), stop=2, drive=2, joints=("shaft", "screw", "shaft"))
    >>> adjusters(Layout((twins,), bypass=frozenset({1, 4})))
    (StopScrew(bank='A'), Coupler(near=2, far=3), Bypass(bore=1), Bypass(bore=4))
    """
    every = [(kind.reach(layout, one)[0], one) for kind in kinds() for one in kind.adjusters(layout)]
    return tuple(one for bank in layout.banks for bore, one in every if bore in bank.bores)


def moved_bores(layout: Layout, adjuster: Adjuster) -> tuple[int, ...]:
    """The bores that follow one adjuster, nearest first for a coupler, front first otherwise.

    Parameters: ``layout`` of the engine; ``adjuster`` one of its own.
    """
    return kind_at(layout, adjuster).reach(layout, adjuster)


@lru_cache(maxsize=64)
def adjusters_with_gain(layout: Layout) -> tuple[Adjuster, ...]:
    """The screws of which what a turn does is learned: first those that turn plates, then those that let air past.

    Couplers' screws come first of all, outward from each stop bore; those of one kind are in walking order.

    Parameters: ``layout`` of the engine.
    """
    order = sorted(kinds_with_gain(), key=lambda kind: (kind.effect != "turns plates", kind.sits != "coupler"))
    return tuple(screw for kind in order for screw in kind.adjusters(layout))


def kinds_with_gain() -> tuple[ScrewWithGain, ...]:
    """The kinds of screw of which what a turn does is learned."""
    return tuple(kind for kind in kinds() if isinstance(kind, ScrewWithGain))


def gain_kind(layout: Layout, screw: Adjuster) -> ScrewWithGain:
    """The kind of a screw of which what a turn does is learned.

    Parameters: ``layout`` of the engine; ``screw`` one of ``adjusters_with_gain``. Raises KeyError for any other.
    """
    kind = kind_at(layout, screw)
    if not isinstance(kind, ScrewWithGain):
        raise KeyError(screw)
    return kind


@lru_cache(maxsize=64)
def own_screws(layout: Layout) -> tuple[Adjuster, ...]:
    """Those of ``adjusters_with_gain`` that set no coupler, in the same order: bypass screws and screws like them.

    Parameters: ``layout`` of the engine.
    """
    return tuple(screw for screw in adjusters_with_gain(layout) if not isinstance(screw, Coupler))


@lru_cache(maxsize=64)
def own_kinds(layout: Layout) -> Mapping[int, tuple[AdjusterKind, ...]]:
    """By bore, the kinds of ``own_screws`` that sit at it; a bore without one is left out.

    Parameters: ``layout`` of the engine.
    """
    found: dict[int, tuple[AdjusterKind, ...]] = {}
    for screw in own_screws(layout):
        kind = kind_at(layout, screw)
        if (bore := kind.place(screw).near) is not None:
            found[bore] = (*found.get(bore, ()), kind)
    return found


def own_screw(layout: Layout, bore: int) -> Adjuster | None:
    """The screw that acts on one bore alone; None where it has none.

    Parameters: ``layout`` of the engine; ``bore`` one of its own.
    """
    return _own_by_bore(layout).get(bore)


@lru_cache(maxsize=64)
def _own_by_bore(layout: Layout) -> dict[int, Adjuster]:
    """Asked for many times while a plan is searched; not to be written to."""
    found: dict[int, Adjuster] = {}
    for screw in own_screws(layout):
        bores = moved_bores(layout, screw)
        if len(bores) == 1:
            found.setdefault(bores[0], screw)
    return found


def own_adjuster(layout: Layout, bore: int) -> Adjuster | None:
    """What evens a bore against the others: a screw of its own, else what carries its shaft. None where another plate
    on that shaft has no screw of its own either: nothing sets those two apart.

    Parameters: ``layout`` of the engine; ``bore`` one of its own.
    """
    if (own := own_screw(layout, bore)) is not None:
        return own
    bank = layout.bank_of(bore)
    if any(own_screw(layout, other) is None for other in bank.shaft(bore) if other != bore):
        return None
    return bank.carrier(bore) or StopScrew(bank.name)


@lru_cache(maxsize=64)
def carried(layout: Layout) -> NDArray[np.bool_]:
    """Which bores hang on each coupler: one row a coupler, one column a bore as walked; not to be written to.

    Parameters: ``layout`` of the engine.

    >>> from app.sync.engine.layout import Bank
    >>> carried(Layout((Bank("A", (1, 2, 3), 1, 1),))).astype(int)
    array([[0, 1, 1],
           [0, 0, 1]])
    """
    return reach_of(layout, layout.couplers())


def reach_of(layout: Layout, adjusters: tuple[Adjuster, ...]) -> NDArray[np.bool_]:
    """Which bores each of some adjusters acts on: one row an adjuster, one column a bore as walked.

    Shape (adjusters, bores).

    Parameters: ``layout`` of the engine; ``adjusters`` of its own.
    """
    found = np.zeros((len(adjusters), len(layout.bores)), dtype=bool)
    for at, one in enumerate(adjusters):
        found[at, [layout.bores.index(bore) for bore in moved_bores(layout, one)]] = True
    return found
