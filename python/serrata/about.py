"""Version of serrata, and the caution that stands under every answer."""

from serrata._engine import CAUTION, __version__

__all__ = ["CAUTION", "__version__"]
