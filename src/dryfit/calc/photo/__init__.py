"""Sizes from photographs: cameras, planes, vanishing points, known points, and several pictures together.

Arrays in, sizes with their covariance out; no pictures are read here. Marks are in pixels, the centre of the first
pixel at (0, 0), x right and y down; lengths in mm. Methods that have no lens of their own take marks that are free of
distortion: straighten gives them.
"""

from dryfit.calc.photo.board_views import (
    BoardLens,
    FrameCorner,
    covered_share,
    frame_corners,
    lens_from_boards,
)
from dryfit.calc.photo.calibration import (
    BoardCalibration,
    BoardView,
    SuspectView,
    board_corners,
    calibrate_board,
    plane_pose,
)
from dryfit.calc.photo.camera import (
    LENS_NAMES,
    Directions,
    Lens,
    Pose,
    Projection,
    project,
    straighten,
    undistort,
)
from dryfit.calc.photo.homography import Homography, carry, fit_homography, local_gain
from dryfit.calc.photo.inner import (
    CentreCheck,
    FocalLength,
    InnerFigures,
    PlanAngles,
    check_centre,
    focal_from_orthogonal,
    inner_from_three,
    plan_angles,
)
from dryfit.calc.photo.joint import (
    Bend,
    JointAdjustment,
    LensBelief,
    Network,
    Photograph,
    PhotoProblem,
    SpaceLength,
    SpacePoint,
    guess_lens,
    joint_sizes,
    spans_frame,
)
from dryfit.calc.photo.joint_adjust import adjust_photos
from dryfit.calc.photo.joint_search import MarkSearch, SuspectMark, search_marks
from dryfit.calc.photo.joint_start import MirrorTest, Start, find_cameras
from dryfit.calc.photo.lens_frame import move_lens
from dryfit.calc.photo.one_scale import (
    depth_departure,
    one_scale_bound,
    one_scale_departure,
    plane_from_vanishing,
    refuse_one_scale,
)
from dryfit.calc.photo.plane import PlaneView, fit_plane
from dryfit.calc.photo.plane_known import PlaneDirection, PlaneLength, PlanePoint
from dryfit.calc.photo.plane_sizes import CameraDistance, CameraFocal, LeastDistance, plane_sizes
from dryfit.calc.photo.plumb import PlumbFit, carry_distortion, fit_plumb_lines
from dryfit.calc.photo.records import Sizes
from dryfit.calc.photo.resection import Resection, resect
from dryfit.calc.photo.single_view import (
    Heights,
    KnownHeight,
    UprightView,
    measure_heights,
    upright_view,
    upright_view_by_lens,
)
from dryfit.calc.photo.vanishing import Horizon, VanishingPoint, fit_vanishing_point, horizon_through

__all__ = [
    "LENS_NAMES",
    "Bend",
    "BoardCalibration",
    "BoardLens",
    "BoardView",
    "CameraDistance",
    "CameraFocal",
    "CentreCheck",
    "Directions",
    "FocalLength",
    "FrameCorner",
    "Heights",
    "Homography",
    "Horizon",
    "InnerFigures",
    "JointAdjustment",
    "KnownHeight",
    "LeastDistance",
    "Lens",
    "LensBelief",
    "MarkSearch",
    "MirrorTest",
    "Network",
    "PhotoProblem",
    "Photograph",
    "PlanAngles",
    "PlaneDirection",
    "PlaneLength",
    "PlanePoint",
    "PlaneView",
    "PlumbFit",
    "Pose",
    "Projection",
    "Resection",
    "Sizes",
    "SpaceLength",
    "SpacePoint",
    "Start",
    "SuspectMark",
    "SuspectView",
    "UprightView",
    "VanishingPoint",
    "adjust_photos",
    "board_corners",
    "calibrate_board",
    "carry",
    "carry_distortion",
    "check_centre",
    "covered_share",
    "depth_departure",
    "find_cameras",
    "fit_homography",
    "fit_plane",
    "fit_plumb_lines",
    "fit_vanishing_point",
    "focal_from_orthogonal",
    "frame_corners",
    "guess_lens",
    "horizon_through",
    "inner_from_three",
    "joint_sizes",
    "lens_from_boards",
    "local_gain",
    "measure_heights",
    "move_lens",
    "one_scale_bound",
    "one_scale_departure",
    "plan_angles",
    "plane_from_vanishing",
    "plane_pose",
    "plane_sizes",
    "project",
    "refuse_one_scale",
    "resect",
    "search_marks",
    "spans_frame",
    "straighten",
    "undistort",
    "upright_view",
    "upright_view_by_lens",
]
