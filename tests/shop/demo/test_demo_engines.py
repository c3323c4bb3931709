"""The yard's invented engines agree with themselves."""

import pytest

from app.shop.demo.demo_engines import PIECES, Piece
from app.sync.engine.layout import Bank, Coupler, Layout


@pytest.mark.parametrize("piece", PIECES, ids=lambda piece: piece.serial)
def test_an_engine_of_the_yard_could_be_one(piece: Piece) -> None:
    bores = [bore for bank in piece.banks for bore in bank]
    assert sorted(bores) == list(range(1, len(bores) + 1))
    assert len({len(bank) for bank in piece.banks}) == 1
    # Liters a cylinder; those told in cubic inches are the large ones (common practice, no published source).
    assert 0.3 <= piece.liters / len(bores) <= (1.0 if piece.inches else 0.7)
    layout = Layout(tuple(Bank(name, bank, bank[0], bank[0]) for name, bank in zip("AB", piece.banks, strict=False)))
    assert piece.slips is None or Coupler(*piece.slips) in layout.couplers()
    assert piece.springless <= {*bores}
    days = [days for *_, days in piece.visits]
    assert days == sorted(days, reverse=True)
    assert all(0 <= days <= 900 for days in days)  # the shop opened 900 days ago
    jobs = [int(job) for _, job, *_ in piece.visits]
    assert jobs == sorted(jobs)


def test_no_two_engines_or_jobs_are_the_same() -> None:
    assert len({piece.serial for piece in PIECES}) == len(PIECES)
    jobs = [job for piece in PIECES for _, job, *_ in piece.visits]
    assert len({*jobs}) == len(jobs)
