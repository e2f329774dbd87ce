//! Whether recipe and limits of a lot are approved, and what a record keeps of that.

use crate::approval::{self, Standing};
use crate::bag::Bag;
use crate::fault::Fault;
use crate::folder::{Batch, LIMITS, RECIPE};
use crate::occasion::Occasion;

/// What is asked about: name, the file as it was read, and whether there is anything to approve.
fn parts(batch: &Batch) -> [(&'static str, Option<&Vec<u8>>, bool); 2] {
    let [recipe, limits] = &batch.as_found.0;
    // The built-in recipe is in no file, and nobody approved it for this lab.
    [(RECIPE, recipe.as_ref(), true), (LIMITS, limits.as_ref(), batch.limits.is_some())]
}

/// How recipe and limits stand; without limits the recipe alone.
pub(super) fn of(batch: &Batch, occasion: &Occasion) -> Vec<Standing> {
    let standing = |bytes: Option<&Vec<u8>>| match bytes {
        Some(bytes) => approval::standing(bytes, &occasion.settings, &occasion.moment),
        None => Standing::NotApproved("it is in no file".into()),
    };
    parts(batch).into_iter().filter(|(_, _, asked)| *asked).map(|(_, bytes, _)| standing(bytes)).collect()
}

/// Keeps recipe and limits as they were approved, each with its signature, so that `ssh-keygen -Y verify` can look at them in the record.
pub(super) fn keep(batch: &Batch, occasion: &Occasion, bag: &mut Bag) -> Result<(), Fault> {
    if occasion.settings.approved.is_none() {
        return Ok(());
    }
    for (name, bytes) in parts(batch).into_iter().filter_map(|(name, bytes, _)| Some((name, bytes?))) {
        if let Standing::Approved(approval) = approval::standing(bytes, &occasion.settings, &occasion.moment) {
            bag.put(&format!("approved/{name}"), bytes)?;
            bag.put(&format!("approved/{name}.sig"), approval.signature.as_bytes())?;
        }
    }
    Ok(())
}

/// In lines of `bag-info.txt`: how each stands, where the lab has settings that say who approves.
pub(super) fn lines(batch: &Batch, occasion: &Occasion) -> Vec<(&'static str, String)> {
    if occasion.settings.approved.is_none() {
        return Vec::new();
    }
    let labels = ["Evenfilm-Recipe-Approval", "Evenfilm-Limits-Approval"];
    let words = |standing| match standing {
        Standing::Approved(approval) => format!("by {} with {}", approval.by, approval.fingerprint),
        Standing::NotApproved(why) => format!("none: {why}"),
    };
    labels.into_iter().zip(of(batch, occasion).into_iter().map(words)).collect()
}
