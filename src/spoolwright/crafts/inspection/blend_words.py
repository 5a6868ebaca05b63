"""What a blend plan says in words: the sentence of a stage, what a blend does and how it was sized."""

from __future__ import annotations

import math
from collections.abc import Collection

from spoolwright.crafts.inspection.blend import NICK_RADII_MM, BlendEffect, Felt, Stress, Taken
from spoolwright.crafts.inspection.blend_plan import StageBlends
from spoolwright.crafts.inspection.resonance import ModeLine
from spoolwright.crafts.typefile.shop.inspection import Airfoil, DamageLimit, InspectedPart

ADVISORY = "Advisory: computed beside the limits, which alone decide."


def plan_sentence(found: StageBlends, part: InspectedPart) -> str:
    """The whole plan as one reads it aloud."""
    assert part.airfoil is not None
    said = []
    if found.plan.blend:
        here = {b.finding.blade for b in found.blended}
        blend = [n for n in found.plan.blend if n in here]
        if blend:
            said.append(f"blend {_named(part, blend)}")
        if stays := [n for n in found.plan.blend if n not in here]:
            said.append(f"leave {_named(part, stays)}")
    if found.plan.replace:
        told = "cannot stay" if found.is_whole else "replace"
        word = _named(part, found.plan.replace)
        said.append(f"{word} {told}" if found.is_whole else f"{told} {word}")
    if found.waits:
        said.append(f"open: {_named(part, [n for n, _ in found.waits])}")
    if not said:
        return "Nothing is to blend or to replace."
    words = "; ".join(said) + f". {balance_words(found, part)}"
    if found.is_whole and found.plan.replace:
        words += " The part is of one piece: it goes whole, or engineering answers."
    return words[0].upper() + words[1:]


def balance_words(found: StageBlends, part: InspectedPart) -> str:
    """Unbalance left, where its heavy spot is, and what is allowed."""
    assert part.airfoil is not None
    left, allowed = 1e6 * found.plan.unbalance, part.airfoil.unbalance_g_mm
    if left < 0.005:
        return f"No unbalance is left by the blends; {allowed:g} g·mm is allowed."
    degrees = math.degrees(found.plan.heavy_spot)
    nearest = round(degrees / 360.0 * part.count) % part.count + 1
    return (
        f"{left:.2f} g·mm is left, heavy spot at {degrees:.0f}° from {part.numbered} 1 in the sense of "
        f"numbering (nearest {part.numbered} {nearest}); {allowed:g} g·mm is allowed."
    )


def _named(part: InspectedPart, numbers: Collection[int]) -> str:
    """Blades by their numbers."""
    many = "teeth" if part.numbered == "tooth" else f"{part.numbered}s"
    return f"{many if len(numbers) > 1 else part.numbered} {', '.join(map(str, sorted(numbers)))}"


def size_words(taken: Taken) -> str:
    """The blend's sizes."""
    s = taken.size
    return (
        f"{_mm(s.total)} mm deep from the original edge, {_mm(s.length)} mm long, radius {_mm(s.radius)} mm"
    )


def sizing(taken: Taken, line: DamageLimit) -> tuple[str, ...]:
    """How the smallest blend was found: each rule with its figures."""
    s = taken.size
    earlier = s.total - s.depth
    told = f"depth: damage and {line.allowance} {line.unit} below its bottom = {_mm(s.depth)} mm"
    out = [f"{told}, with the earlier blend {_mm(s.total)} mm" if earlier else told]
    if line.length_to_depth_min is not None:
        least = float(s.total) * float(line.length_to_depth_min)
        out.append(
            f"length: at least {line.length_to_depth_min} × {_mm(s.total)} mm = {_mm(least)} mm by its depth"
        )
    if line.radius_min is not None:
        radius = float(line.radius_min) * (25.4 if line.unit == "in" else 1.0)
        square = 4.0 * (2.0 * radius * float(s.total) - float(s.total) ** 2)
        if square > 0:
            word = (
                f"length: at least {_mm(math.sqrt(square))} mm for a radius of {line.radius_min} {line.unit}"
            )
            out.append(word)
    out.append(f"radius of the arc: ({_mm(s.length)}² / 4 + {_mm(s.total)}²) / (2 × {_mm(s.total)}) mm")
    return tuple(out)


def stress_words(stress: Stress) -> str:
    """Stress of the metal over the stress far from it, one figure or a bracket."""
    return _bracket(*stress.factor)


def felt_words(felt: Felt | None) -> str:
    """What fatigue feels, between both models."""
    return "material not transcribed" if felt is None else _bracket(felt.low, felt.high)


def nick_words() -> str:
    """What is taken for the damage's root."""
    low, high = NICK_RADII_MM
    return f"root radius not measured, taken from {low:g} to {high:g} mm"


def models_words(airfoil: Airfoil) -> str:
    """The two models between which fatigue lies."""
    if airfoil.threshold_range is None or airfoil.endurance_range is None:
        return "No fatigue factor: threshold and endurance of the material are not transcribed."
    if airfoil.steel and airfoil.ultimate_strength is not None:
        return "Fatigue between notch sensitivity (Peterson) and critical distance (El Haddad, Taylor)."
    return (
        "Fatigue between critical distance (El Haddad, Taylor) and the full stress of the notch: Peterson's "
        "length is known for steels only."
    )


def mode_words(line: ModeLine) -> str:
    """A mode before and after, and what it meets."""
    shift = line.after_hz[0] / line.before_hz[0] - 1.0
    said = f"{line.name} {line.before_hz[-1]:.0f} Hz at {line.speeds_rpm[-1]:.0f} rpm, {shift_text(shift)}"
    if line.nears:
        meets = ", ".join(f"order {c.order} ({c.cause}) at {c.speed_rpm:.0f} rpm" for c in line.nears)
        return f"{said}: now meets {meets}. Refer to engineering"
    if line.crossings_before:
        met = ", ".join(f"order {c.order} ({c.cause})" for c in line.crossings_before)
        return f"{said}; meets {met} with and without the blend"
    return f"{said}; meets no order"


def shift_text(shift: float) -> str:
    """A shift in per cent with its sign."""
    said = f"{100 * shift:+.2f} %"
    return "unchanged" if said[1:] == "0.00 %" else said.replace("-", "−")


def effect_words(effect: BlendEffect) -> tuple[str, ...]:
    """What a blend does, line by line."""
    t = effect.taken
    out = [
        f"stress: {stress_words(effect.nick)} as it is ({nick_words()}), "
        f"{stress_words(effect.blend)} blended",
        f"fatigue: {felt_words(effect.nick.felt)} as it is, {felt_words(effect.blend.felt)} blended",
        f"takes {1e3 * t.mass_g:.1f} mg, moment weight {t.unbalance_g_mm:.2f} g·mm, "
        f"{t.area_mm2:.2f} mm² ({100 * effect.area_share:.3f} % of the row)",
    ]
    return (*out, effect.modes_referred) if effect.modes_referred else (*out, *map(mode_words, effect.lines))


def _bracket(low: float, high: float) -> str:
    return f"{low:.2f}" if f"{low:.2f}" == f"{high:.2f}" else f"{low:.2f} to {high:.2f}"


def _mm(length: object) -> str:
    return f"{float(length):.3f}".rstrip("0").rstrip(".")  # type: ignore[arg-type]
