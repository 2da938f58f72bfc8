"""A grain as it is drawn: its sizes, what it lacks as one bubble, and the words at its dimension lines."""

from markupsafe import Markup

from app.calc.grain.density_check import GrainCheck
from app.drawings.grain_section import GrainCut, bubble_diameter
from app.drawings.grain_views import grain_views
from app.models import GrainPattern, Workshop
from app.services.grains.grains import GrainView
from app.services.hardware import shapes
from app.services.hardware.shapes import Sized
from app.units import show, unit_of


def cut(pattern: GrainPattern, sized: Sized, check: GrainCheck | None, house: Workshop, key: bool = True) -> GrainCut:
    """A grain's sizes and words; without a check it is one to come, as its pattern has it, that lacks nothing."""
    volume = check.volume if check is not None else shapes.volume(pattern)
    share = check.share if check is not None else 1.0

    def length(size: float) -> str:
        return show(size, "length", house.units)

    def across(bubble: float) -> str:
        """An estimate, so without the last figures."""
        return show(bubble, "length", house.units, 0 if unit_of("length", house.units) == "mm" else 2)

    return GrainCut(
        outer_d_m=sized.outer_d_m,
        core_d_m=sized.core_d_m,
        length_m=sized.length_m,
        volume_m3=volume,
        share=share,
        limit_share=house.accept_share,
        burning_ends=pattern.burning_ends,
        burns_outer=pattern.burns_outer,
        key=key,
        outer_words=f"Ø {length(sized.outer_d_m)}",
        core_words=f"Ø {length(sized.core_d_m)}" if sized.core_d_m else "",
        length_words=length(sized.length_m),
        missing_words=show(check.void_volume, "volume", house.units) if check is not None else "",
        bubble_words=f"Ø {across(bubble_diameter(volume, share))}" if check is not None else "",
        limit_words=f"limit {across(bubble_diameter(volume, house.accept_share))}",
    )


def views(view: GrainView, check: GrainCheck, house: Workshop) -> Markup:
    """A grain on its own page: from the side and from its end."""
    return grain_views(cut(view.pattern, view.grain, check, house), f"Grain {view.grain.serial} to scale")
