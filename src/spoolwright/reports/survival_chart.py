"""Lives as a drawing: the product-limit steps with their band, and the fitted distribution over them."""

from __future__ import annotations

import io
import re

import numpy as np

from spoolwright.crafts.scope.figures import LivesFigure


def survival_svg(figure: LivesFigure, name: str) -> str:
    """SVG of a kind of part; ink only, so that it prints as it is seen."""
    import matplotlib as mpl

    mpl.use("svg")
    from matplotlib.figure import Figure

    with mpl.rc_context({"svg.fonttype": "none", "svg.hashsalt": "spoolwright", "font.size": 9}):
        drawn = Figure(figsize=(6.2, 2.9), layout="constrained")
        axes = drawn.add_subplot()
        end = max(x.hours for x in figure.lives) * 1.05
        if figure.curve is not None:
            ages = np.concatenate([[0.0], figure.curve.ages, [end]])
            low, high = figure.curve.interval()
            steps = [np.concatenate([[1.0], s, s[-1:]]) for s in (figure.curve.survival, low, high)]
            axes.fill_between(ages, steps[1], steps[2], step="post", color="black", alpha=0.15, linewidth=0)
            axes.step(ages, steps[0], where="post", color="black", linewidth=1.2)
        if figure.fit is not None:
            at = np.linspace(0.0, end, 120)
            axes.plot(
                at, [figure.fit.survival(float(t)) for t in at], color="black", linestyle="--", linewidth=0.9
            )
        axes.set(xlim=(0.0, end), ylim=(0.0, 1.02), xlabel="age [h]", ylabel="share that survives [-]")
        axes.spines[["top", "right"]].set_visible(False)
        out = io.StringIO()
        drawn.savefig(out, format="svg", transparent=True, metadata={"Date": None, "Title": name})
    return _plain(out.getvalue())


def _plain(text: str) -> str:
    """Only the drawing, its styles as attributes: pages allow no style inside them."""
    drawing = text[text.index("<svg") :]
    drawing = re.sub(r"<(metadata|style)\b.*?</\1>", "", drawing, flags=re.S)
    return re.sub(r' style="([^"]*)"', _attributes, drawing)


def _attributes(style: re.Match[str]) -> str:
    """Pages have their own `font`, and their own ink."""
    pairs = (p.partition(":") for p in style[1].split(";") if p.strip())
    said = "".join(f' {k.strip()}="{v.strip()}"' for k, _, v in pairs if k.strip() != "font")
    return said.replace("#000000", "currentColor")
