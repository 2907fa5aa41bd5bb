"""Scan files: point clouds and meshes, read strictly; nothing is repaired, rescaled or guessed."""

from dryfit.files.scan.read import read_raw_scan, read_scan
from dryfit.files.scan.record import ScanFile
from dryfit.files.scan.write import encode_map_ply

__all__ = ["ScanFile", "encode_map_ply", "read_raw_scan", "read_scan"]
