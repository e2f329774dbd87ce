//! What corrections by hand mean for a lot, before anything is measured.

use std::path::Path;

use super::{Field, Objective, objective};
use crate::corrections::{Change, Correction, Corrections};
use crate::fault::Fault;

/// Makes sure that every correction speaks of a field of the lot and leaves some, and notes with each objective what was corrected.
pub(super) fn check(corrections: &Corrections, path: &Path, fields: &[Field], objectives: &mut [Objective]) -> Result<(), Fault> {
    let scale = |field: usize| objectives.iter().find(|o| o.fields.contains(&field)).map_or(1.0, |o| o.scale.um_per_px);
    corrections.check(path, fields, scale)?;
    let several = objectives.len() > 1;
    for objective in objectives {
        let own = || objective.fields.iter().map(|&i| &fields[i]);
        let left_out: Vec<&Correction> =
            own().filter_map(|field| corrections.rejected(field).filter(|line| line.decides(&objective.recipe))).collect();
        if let Some(last) = left_out.last().filter(|_| left_out.len() == objective.fields.len()) {
            let whose = if several { format!(" of {}", objective::in_words(objective.name.as_deref())) } else { String::new() };
            let message = format!("every field{whose} is rejected, so that nothing is left to measure");
            let fault = Fault::input(message, "keep some, or take others");
            return Err(fault.at(path).on_line(last.line));
        }
        let kinds = own().flat_map(|field| corrections.of_field(field)).filter(|line| line.change != Change::LeaveOut).count();
        let rejected = own().filter(|field| corrections.rejected(field).is_some()).count();
        if kinds + rejected > 0 {
            objective.notes.push(format!(
                "corrected by hand (kinds: {kinds}, fields rejected: {rejected}); record-uncorrected.csv has the numbers without"
            ));
        }
    }
    Ok(())
}
