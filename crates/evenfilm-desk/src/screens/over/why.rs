//! What the verdict rests on: every limit and what came of it, what makes it provisional, and the cautions.

use egui::{Label, RichText, ScrollArea, Ui};
use evenfilm_record::sheet::Purpose;
use evenfilm_record::summary;

use super::{title, widgets};
use crate::change::Acts;
use crate::state::Lot;
use crate::theme;

pub(super) fn show(ui: &mut Ui, lot: &Lot, acts: &mut Acts) {
    let is_check = lot.batch.as_ref().is_some_and(|batch| batch.sheet.purpose() == Purpose::Check);
    title(ui, "Why this verdict?");
    let Some(seen) = lot.objective().filter(|_| lot.may_judge()) else {
        ui.label("There is no verdict while the choices are not locked, or the numbers are of earlier ones.");
        return super::done(ui, acts);
    };
    ScrollArea::vertical().max_height(ui.ctx().content_rect().height() * 0.6).show(ui, |ui| {
        ui.spacing_mut().interact_size.y = 20.0;
        let words = summary::verdict_words(seen, is_check).unwrap_or_else(|| "no verdict: the lot has no limits".into());
        ui.add(Label::new(RichText::new(format!("The verdict is {words}."))).wrap());
        for (limit, came) in summary::limit_lines(seen, is_check) {
            ui.add_space(theme::GAP);
            ui.add(Label::new(RichText::new(limit.trim()).strong()).wrap());
            ui.add(Label::new(came).wrap());
        }
        for flag in &seen.judgement.flags {
            ui.add_space(theme::GAP);
            ui.add(Label::new(RichText::new(flag.id.replace('_', " ")).strong()).wrap());
            ui.add(Label::new(flag.advice.as_ref()).wrap());
        }
        ui.add_space(theme::AIR);
        ui.add(Label::new(widgets::quiet(ui, summary::CAUTION.replace('\n', " "))).wrap());
    });
    super::done(ui, acts);
}
