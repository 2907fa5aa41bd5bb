"""Dimensions and features in one line of words each, as records and reports tell them."""

from __future__ import annotations

from dryfit.base.arrays import Array
from dryfit.model.feature import Dimension, Feature, FeatureLimits, Pick
from dryfit.model.project import Project


def describe_sizes(project: Project) -> dict[str, str]:
    """Every dimension and feature of a document, by what it is and its id."""
    dimensions = {f"dimension {item.id}": describe_dimension(item) for item in project.dimensions}
    return dimensions | {f"feature {item.id}": describe_feature(item) for item in project.features}


def describe_dimension(dimension: Dimension) -> str:
    """Such as "3670 mm (std 20)"."""
    size = dimension.size_mm
    if size is None:
        return f"unknown: {dimension.unknown}"
    if dimension.scheduled_mm is None:
        return f"{size.value:g} mm (std {size.std:g})"
    return f"{size.value:.6g} mm (std {size.std:.3g})"


def describe_feature(feature: Feature) -> str:
    """What is measured, what it should be, and within which limits."""
    phrases = [f"{feature.kind} of {_describe_place(feature)}"]
    for name, vector in (("along", feature.direction), ("at", feature.at_mm), ("across", feature.normal)):
        if vector is not None:
            phrases.append(f"{name} {_write_vector(vector)}")
    if feature.dimension is not None:
        phrases.append(f"nominal from {feature.dimension}")
    if feature.nominal is not None:
        phrases.append(f"nominal {feature.nominal.value:g} {feature.unit} (std {feature.nominal.std:g})")
    limits = describe_limits(feature.limits, feature.unit)
    return ", ".join([*phrases, limits] if limits else phrases)


def describe_limits(limits: FeatureLimits, unit: str) -> str:
    """Limits as they are stated; "" for none."""
    if limits.iso_286:
        return f"limits by ISO 286 {limits.iso_286}"
    if limits.iso_2768:
        return f"limits by ISO 2768-1 {limits.iso_2768}"
    if limits.lower_deviation is not None and limits.upper_deviation is not None:
        span = f"{limits.lower_deviation:+g} to {limits.upper_deviation:+g}"
        return f"limits {span} {unit} from the nominal"
    if limits.lower is not None and limits.upper is not None:
        return f"limits {limits.lower:g} to {limits.upper:g} {unit}"
    if limits.lower is not None:
        return f"at least {limits.lower:g} {unit}"
    return "" if limits.upper is None else f"at most {limits.upper:g} {unit}"


def _describe_place(feature: Feature) -> str:
    if not feature.faces:
        return " and ".join(feature.parts)
    return " and ".join(_describe_pick(pick) for pick in feature.faces)


def _describe_pick(pick: Pick) -> str:
    if pick.point_mm is not None:
        return f"{pick.part} at {_write_vector(pick.point_mm)}"
    return f"{pick.part} toward {_write_vector(pick.direction)}"


def _write_vector(vector: Array | None) -> str:
    return "" if vector is None else " ".join(f"{value + 0.0:.6g}" for value in vector)
