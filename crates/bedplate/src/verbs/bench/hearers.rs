//! Who is given the samples of the deck on the bench.

use std::sync::{Arc, Weak};

use formats::recording::Sample;
use web::guide::Guide;
use web::proof::Proof;

/// The guided calibration, and the guided verification beside it.
#[derive(Clone)]
pub(crate) struct Hearers {
    pub(crate) guide: Arc<Guide>,
    pub(crate) proof: Arc<Proof>,
}

/// The same, kept alive by others.
pub(crate) struct WeakHearers {
    guide: Weak<Guide>,
    proof: Weak<Proof>,
}

impl Hearers {
    pub(crate) fn hear(&self, sample: Sample) {
        self.proof.sample(sample.clone());
        self.guide.sample(sample);
    }

    pub(crate) fn downgraded(&self) -> WeakHearers {
        WeakHearers { guide: Arc::downgrade(&self.guide), proof: Arc::downgrade(&self.proof) }
    }
}

impl WeakHearers {
    /// Whether somebody still listens.
    pub(crate) fn hear(&self, sample: Sample) -> bool {
        let (Some(guide), Some(proof)) = (self.guide.upgrade(), self.proof.upgrade()) else { return false };
        Hearers { guide, proof }.hear(sample);
        true
    }
}
