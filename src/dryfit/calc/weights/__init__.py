"""What parts weigh, where their centre of gravity lies, and how they resist turning."""

from dryfit.calc.weights.mass import MassProperties, combine_masses, mass_properties
from dryfit.calc.weights.printed import printed_mass, printed_share

__all__ = ["MassProperties", "combine_masses", "mass_properties", "printed_mass", "printed_share"]
