"""Many examinations at once: the same posterior, vectorised, in chunks that can be resumed."""

from decussate.cohort.running import Progress, run
from decussate.cohort.scoring import Scorer

__all__ = ["Progress", "Scorer", "run"]
