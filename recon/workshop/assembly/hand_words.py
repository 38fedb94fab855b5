"""What a hand must hold between steps, said where it begins, with the step until which it is needed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from recon.workshop.wording import listed

if TYPE_CHECKING:
    from recon.workshop.assembly.build_step import BuildStep


def hand_sentences(steps: Sequence[BuildStep]) -> list[BuildStep]:
    """The steps with sentences added to their words that say what to hold, and until when.

    A group that is held is named in the first step after which it hangs; so is what does not stand.
    """
    out = []
    for k, step in enumerate(steps):
        if len(_together(step)) == 1:  # the whole frame
            out.append(step)
            continue
        before = _before(steps, k)
        said = {group for s in before for group in s.hands}
        fresh = [group for group in step.hands if not any(set(group) <= set(known) for known in said)]
        words = _hang_sentences(step, fresh, steps, k)
        tipped = any(not s.steady and s.up == step.up for s in before)
        if not step.steady and not tipped:
            words.append(_stand_words(_until_steady(steps, k)))
        out.append(replace(step, text=" ".join([step.text, *words])))
    return out


def _together(step: BuildStep) -> set[str]:
    return {*step.there, *step.new}


def _before(steps: Sequence[BuildStep], k: int) -> list[BuildStep]:
    """The last step before step `k` of each thing that is joined in it."""
    found = []
    left = _together(steps[k])
    for step in reversed(steps[:k]):
        ids = _together(step)
        if ids <= left:
            found.append(step)
            left = left - ids
    return found


def _until(steps: Sequence[BuildStep], k: int, group: set[str]) -> int | None:
    """The number of the step after which a group of step `k` no longer hangs; None where it stays so."""
    for step in steps[k + 1 :]:
        if group <= _together(step) and not any(group & set(held) for held in step.hands):
            return step.number
    return None


def _until_steady(steps: Sequence[BuildStep], k: int) -> int | None:
    """The number of the step after which what step `k` makes stands by itself; None where it never does."""
    for step in steps[k + 1 :]:
        if _together(steps[k]) <= _together(step) and step.steady:
            return step.number
    return None


def _joined(steps: Sequence[BuildStep], group: Sequence[str]) -> bool:
    """Whether a bolt goes through any of these members in these steps."""
    bolts = (bolt for step in steps for bolt in step.bolts)
    return any(id in group for bolt in bolts for id, _ in bolt.through)


def _hang_sentences(
    step: BuildStep, groups: Sequence[tuple[str, ...]], steps: Sequence[BuildStep], k: int
) -> list[str]:
    """What to hold until when, in step `k`; one sentence for single members held alike."""
    alike: dict[tuple[str, str], list[str]] = {}
    sentences = []
    for group in groups:
        how, why = _hang_words(step, group, _until(steps, k, set(group)), _joined(steps[k + 1 :], group))
        if len(group) == 1:
            alike.setdefault((how, why), []).append(group[0])
        else:
            sentences.append(f"Hold {listed(group)} {how}: {why.format('them')}.")
    for (how, why), ids in alike.items():
        sentences.append(f"Hold {listed(ids)} {how}: {why.format('it' if len(ids) == 1 else 'each')}.")
    return sentences


def _hang_words(step: BuildStep, group: Sequence[str], until: int | None, later: bool) -> tuple[str, str]:
    """How long to hold a group, and why, with a gap for 'it'.

    later : whether a bolt comes through any of it in a later step.
    """
    joined = {id for bolt in (*step.bolts, *step.there_bolts) for id, _ in bolt.through}
    why = "one bolt alone holds {}" if joined & set(group) else "no bolt holds {}"
    if until is None and later and not joined & set(group):
        return "while you tighten", "one bolt alone will hold {}, in the finished frame, too"
    if until is None:
        return "while you tighten", f"{why}, here and in the finished frame"
    return f"up until step {until}", f"{why} until then"


def _stand_words(until: int | None) -> str:
    if until is None:
        return "It does not stand by itself, now or in the end: hold it, or lean it on something."
    return f"It does not stand by itself yet: hold it until step {until}."
