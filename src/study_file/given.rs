//! What records say of a study, as its file keeps it: written by a program, read by one.

use super::section::Section;
use crate::model::{Posterior, StudyParts, inputs_number};
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use serde::{Deserialize, Serialize};
use std::sync::Arc;

/// What stands in the file, in bytes.
#[derive(Serialize, Deserialize)]
struct Kept<'a> {
    form: u32,
    /// Which inputs the records were held against.
    inputs: u64,
    posterior: std::borrow::Cow<'a, Posterior>,
}

/// Form of the bytes.
const FORM: u32 = 2;

/// Reads it, for a study that is otherwise whole.
pub(super) fn read(section: &Section, study: &StudyParts) -> Option<Posterior> {
    let text = section.text("draws")?;
    let bytes = STANDARD.decode(&text).ok();
    let kept = bytes.and_then(|bytes| postcard::from_bytes::<Kept>(&bytes).ok()).filter(|kept| kept.form == FORM);
    let Some(kept) = kept.filter(|kept| kept.posterior.fits(study)) else {
        section.fault("draws", "is damaged, or of another version", "give the study its records once more");
        return None;
    };
    if kept.inputs != inputs_number(study) {
        section.fault(
            "draws",
            "was learned under other inputs: something that the records were held against has changed since",
            "change the study as it was before its records, and give it its records once more",
        );
        return None;
    }
    Some(kept.posterior.into_owned())
}

/// Its text.
pub(super) fn write(study: &StudyParts, posterior: &Arc<Posterior>) -> String {
    let kept = Kept { form: FORM, inputs: inputs_number(study), posterior: std::borrow::Cow::Borrowed(posterior) };
    // A vector takes whatever is written, and nothing in it refuses to be.
    STANDARD.encode(postcard::to_stdvec(&kept).expect("numbers and lists of a known length"))
}
