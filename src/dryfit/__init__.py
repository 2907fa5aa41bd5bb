"""dryfit: will a large replica on a printed frame go together?"""

__version__ = "0.1.0"
