"""Where the lesion is and how sure one can be: a causal model of anatomy and exact inference."""

from decussate.localisation.cache import data_digest, load_model
from decussate.localisation.localise import Candidate, CauseShare, Localisation, localise
from decussate.localisation.model import Model, compile_model
from decussate.localisation.next_test import NextTest
from decussate.localisation.posterior import Posterior
from decussate.localisation.reasons import Reason
from decussate.localisation.two_lesions import LesionPair, TwoLesions, two_lesions

__all__ = [
    "Candidate",
    "CauseShare",
    "LesionPair",
    "Localisation",
    "Model",
    "NextTest",
    "Posterior",
    "Reason",
    "TwoLesions",
    "compile_model",
    "data_digest",
    "load_model",
    "localise",
    "two_lesions",
]
