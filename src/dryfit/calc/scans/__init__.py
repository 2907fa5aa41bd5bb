"""Scans of printed parts: laid on the part without a guess, compared with it, and aligned by datums."""

from dryfit.calc.scans.align import Registration, choose_pose, register_scan
from dryfit.calc.scans.datums import DatumAlignment, DatumElement, align_by_datums
from dryfit.calc.scans.deviation import (
    PointDeviations,
    Statistics,
    SurfaceMap,
    WorstPlace,
    deviate_points,
    deviations_at,
    find_worst,
    map_deviations,
    pose_variance,
    summarise,
)
from dryfit.calc.scans.fine import FinePose, PoseInformation, refine_pose, weigh_pose
from dryfit.calc.scans.form import STRAIN_STD, Form, pose_by_all, refine_form
from dryfit.calc.scans.patches import CellPoints, gather_cells
from dryfit.calc.scans.rigid import (
    RigidMotion,
    SimilarityFit,
    fit_rigid,
    fit_similarity,
    rotation_vector,
)
from dryfit.calc.scans.surface import Nearest, NominalSurface
from dryfit.calc.scans.telling import Alternative, Comparison, FreeMotion, compare_poses

__all__ = [
    "STRAIN_STD",
    "Alternative",
    "CellPoints",
    "Comparison",
    "DatumAlignment",
    "DatumElement",
    "FinePose",
    "Form",
    "FreeMotion",
    "Nearest",
    "NominalSurface",
    "PointDeviations",
    "PoseInformation",
    "Registration",
    "RigidMotion",
    "SimilarityFit",
    "Statistics",
    "SurfaceMap",
    "WorstPlace",
    "align_by_datums",
    "choose_pose",
    "compare_poses",
    "deviate_points",
    "deviations_at",
    "find_worst",
    "fit_rigid",
    "fit_similarity",
    "gather_cells",
    "map_deviations",
    "pose_by_all",
    "pose_variance",
    "refine_form",
    "refine_pose",
    "register_scan",
    "rotation_vector",
    "summarise",
    "weigh_pose",
]
