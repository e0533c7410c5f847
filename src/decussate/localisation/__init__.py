"""Where the lesion is and how sure one can be: a causal model of anatomy and exact inference."""

from decussate.localisation.cache import load_model
from decussate.localisation.localise import Candidate, CauseShare, Localisation, localise
from decussate.localisation.model import Model, compile_model
from decussate.localisation.next_test import NextTest
from decussate.localisation.posterior import Posterior
from decussate.localisation.reasons import Reason

__all__ = [
    "Candidate",
    "CauseShare",
    "Localisation",
    "Model",
    "NextTest",
    "Posterior",
    "Reason",
    "compile_model",
    "load_model",
    "localise",
]
