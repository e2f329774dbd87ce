//! What the verdict rests on: every limit and what came of it, what makes it provisional, and the cautions.

use egui::{Label, RichText, ScrollArea, Ui};
use evenfilm_core::quantity::QUANTITIES;
use evenfilm_record::sheet::Purpose;
use evenfilm_record::summary;

use super::{title, widgets};
use crate::change::Acts;
use crate::state::Lot;
use crate::theme;

pub(super) fn show(ui: &mut Ui, lot: &Lot, is_new: bool, acts: &mut Acts) {
    let is_check = lot.batch.as_ref().is_some_and(|batch| batch.sheet.purpose() == Purpose::Check);
    title(ui, "Why this verdict?");
    let Some(seen) = lot.objective().filter(|_| lot.may_judge()) else {
        ui.label("There is no verdict while the choices are not locked, not saved, or being measured.");
        return super::done(ui, is_new, acts);
    };
    ScrollArea::vertical().max_height(super::inner_height(ui)).show(ui, |ui| {
        ui.spacing_mut().interact_size.y = 20.0;
        let words = summary::verdict_words(seen, is_check).unwrap_or_else(|| "no verdict: the lot has no limits".into());
        ui.add(Label::new(RichText::new(format!("The verdict is {words}."))).wrap());
        for (limit, came) in summary::limit_lines(seen, is_check) {
            ui.add_space(theme::GAP);
            ui.add(Label::new(RichText::new(labelled(limit.trim())).strong()).wrap());
            ui.add(Label::new(labelled(&came)).wrap());
        }
        for flag in &seen.judgement.flags {
            ui.add_space(theme::GAP);
            ui.add(Label::new(RichText::new(flag.id.replace('_', " ")).strong()).wrap());
            ui.add(Label::new(flag.advice.as_ref()).wrap());
        }
        ui.add_space(theme::AIR);
        ui.add(Label::new(widgets::quiet(ui, summary::CAUTION.replace('\n', " "))).wrap());
    });
    super::done(ui, is_new, acts);
}

/// Names of columns as they are read: "Uncovered area" for `uncovered_area_pct`.
fn labelled(text: &str) -> String {
    let is_of_name = |c: char| c.is_ascii_alphanumeric() || c == '_';
    let mut out = String::new();
    let mut rest = text;
    while let Some(start) = rest.find(is_of_name) {
        let end = rest[start..].find(|c| !is_of_name(c)).map_or(rest.len(), |length| start + length);
        let word = &rest[start..end];
        out.push_str(&rest[..start]);
        out.push_str(QUANTITIES.iter().find(|quantity| quantity.id == word && word.contains('_')).map_or(word, |quantity| quantity.label));
        rest = &rest[end..];
    }
    out + rest
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_have_their_labels() {
        assert_eq!(labelled("uncovered_area_pct at most 3 %"), "Uncovered area at most 3 %");
        assert_eq!(labelled("x90_3_um: 12 µm, (x50_0_um)"), "x90 by volume: 12 µm, (x50 by number)");
        assert_eq!(labelled("gaps in 3 fields"), "gaps in 3 fields");
    }
}
