"""What one feed was, as an attempt: by the machine's word or the owner's, and in words.

Owns which witness is heard. Knows nothing of the order of a test.
"""

from dataclasses import replace

from monitor.bench.attempts import Attempt, Outcome, Witness
from monitor.bench.feeding import Piece
from monitor.bench.machine_view import MachineView
from monitor.bench.slip import HotSlip, lost, outcome_by_both, outcome_by_encoder, outcome_by_flags


def judged(view: MachineView, piece: Piece, asked_c: float, hot: HotSlip | None, count_mm: float | None) -> Attempt:
    """The attempt as the machine alone tells it; unclear, and the owner's to tell, where it tells nothing.

    `hot` is the slip of the hot strand; None where no encoder is trusted.
    """
    outcome, witness, missing = Outcome.UNCLEAR, Witness.OWNER, None
    if hot is not None and piece.fed_mm is not None and piece.sensed_mm is not None:
        missing, witness = lost(piece.fed_mm, piece.sensed_mm, hot, count_mm), Witness.ENCODER
        if view.tells_flags:
            outcome = outcome_by_both(piece.fed_mm, missing, piece.flags)
        else:
            outcome = outcome_by_encoder(piece.fed_mm, missing)
    elif view.tells_flags:
        outcome, witness = outcome_by_flags(piece.flags), Witness.FLAGS
    return Attempt(
        time_s=view.time_s,
        temp_c=piece.temp_c,
        asked_c=asked_c,
        outcome=outcome,
        witness=witness,
        fed_mm=piece.fed_mm,
        speed_mm_s=piece.speed_mm_s,
        lost_mm=None if missing is None else missing.lost_mm,
        error_mm=None if missing is None else missing.error_mm,
        flags=piece.flags,
    )


def by_owner(attempt: Attempt, outcome: Outcome) -> Attempt:
    """The attempt by the owner's word."""
    return replace(attempt, outcome=outcome, witness=Witness.OWNER)


def percent(share: float) -> str:
    """A share in words."""
    return f"{100.0 * share:.1f} %"


def attempt_text(attempt: Attempt) -> str:
    """An attempt in words, with its numbers and its witness."""
    text = {Outcome.FED: "it fed", Outcome.SKIPPED: "it SKIPPED", Outcome.UNCLEAR: "it is not counted"}[attempt.outcome]
    if attempt.lost_mm is not None and attempt.error_mm is not None:
        text += f", {attempt.lost_mm:.1f} ± {attempt.error_mm:.1f} mm of {attempt.fed_mm:.0f} lost"
    flags = f", {attempt.flags} stalls flagged" if attempt.flags else ""
    return f"{text} at {attempt.temp_c:.1f} °C{flags} ({attempt.witness})"
