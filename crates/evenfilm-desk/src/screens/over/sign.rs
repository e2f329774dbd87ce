//! Signing a record: who, as what, and with which key.

use std::path::PathBuf;

use egui::{Key, Label, RichText, TextEdit, Ui};
use evenfilm_record::signoff::{Meaning, TYPED};

use super::{signoffs, widgets};
use crate::change::{Act, Acts};
use crate::jobs::ToSign;
use crate::prefs::Prefs;
use crate::secret::Secret;
use crate::state::{Known, Place, Signing, State};
use crate::theme;

/// What is being typed. It is gone when the box closes.
#[derive(Default)]
pub(crate) struct Draft {
    name: String,
    meaning: Option<Meaning>,
    comment: String,
    key: String,
    /// The file that the box was filled from: where another was chosen, the box follows.
    filled_from: Option<PathBuf>,
    passphrase: Secret,
    is_name_only: bool,
    /// Whether the form was shown: what is typed first has the keyboard then.
    has_begun: bool,
    /// Whether a request of this draft went out.
    was_sent: bool,
}

impl Draft {
    pub(super) fn of(prefs: &Prefs) -> Self {
        let key = prefs.key.as_ref().map_or_else(String::new, |file| file.display().to_string());
        Self { key, filled_from: prefs.key.clone(), ..Self::default() }
    }

    /// What is still missing, in words; empty where nothing is.
    fn missing(&self) -> String {
        let typed = |text: &str| !text.trim().is_empty();
        let needs_key = !self.is_name_only;
        let parts = [
            (typed(&self.name), "your name"),
            (self.meaning.is_some(), "what you say of it"),
            (!needs_key || typed(&self.key), "the file of your key"),
            (!needs_key || !self.passphrase.typed().is_empty(), "its passphrase"),
        ];
        parts.iter().filter(|(is_there, _)| !is_there).map(|(_, what)| *what).collect::<Vec<_>>().join(", ")
    }

    /// Hands the request out; the passphrase goes with it.
    fn request(&mut self, signing: &Signing) -> Option<ToSign> {
        let meaning = self.meaning?;
        let passphrase = std::mem::take(&mut self.passphrase);
        let key = (!self.is_name_only).then(|| (PathBuf::from(self.key.trim().trim_matches('"')), passphrase));
        self.was_sent = true;
        // What was pasted may hold tabs and the like, which nobody sees.
        let plain = |text: &str| text.replace(char::is_control, " ").trim().to_owned();
        Some(ToSign { record: signing.record.clone(), name: plain(&self.name), meaning, comment: plain(&self.comment), key })
    }
}

/// What is said by each meaning.
const fn sentence(meaning: Meaning) -> &'static str {
    match meaning {
        Meaning::Measured => "I took the pictures and measured them.",
        Meaning::Reviewed => "I looked the record through: pictures, choices, corrections, numbers.",
        Meaning::Approved => "I answer for what the record says.",
    }
}

pub(super) fn show(ui: &mut Ui, state: &State, draft: &mut Draft, is_new: bool, acts: &mut Acts) {
    let Some(signing) = &state.signing else { return acts.push(Act::Over(None)) };
    ui.spacing_mut().interact_size.y = 24.0;
    let Some(known) = &signing.known else {
        super::title(ui, "Sign a record");
        match &signing.fault {
            Some((_, fault)) => widgets::warning(ui, fault.to_string()),
            None => {
                ui.horizontal(|ui| {
                    ui.spinner();
                    ui.label("looking at the record");
                });
            }
        }
        return super::done(ui, is_new, acts);
    };
    head(ui, signing, known);
    if signing.made.is_some() {
        // What was typed has done its work.
        let is_first = draft.was_sent;
        if is_first {
            *draft = Draft::of(&state.prefs);
        }
        return made(ui, is_first, acts);
    }
    ui.add_space(theme::GAP);
    if draft.filled_from != state.prefs.key {
        draft.filled_from.clone_from(&state.prefs.key);
        draft.key = state.prefs.key.as_ref().map_or_else(String::new, |file| file.display().to_string());
    }
    let is_first = !std::mem::replace(&mut draft.has_begun, true);
    let entered = ui.add_enabled_ui(!signing.is_going, |ui| form(ui, signing, draft, is_first, acts)).inner;
    ui.add_space(theme::GAP);
    foot(ui, signing, draft, entered, acts);
}

/// The record, and who signed it so far.
fn head(ui: &mut Ui, signing: &Signing, known: &Known) {
    super::title_wrapped(ui, &format!("Sign {}, revision {}", known.lot, known.revision));
    ui.add(Label::new(widgets::quiet(ui, format!("of {}; {}", known.at, signing.record.display()))).wrap());
    if let Some(fault) = &known.fault {
        widgets::warning(ui, format!("Nothing can be signed: {fault}"));
    }
    ui.add_space(theme::GAP);
    signoffs::show(ui, &known.found, signing.made);
}

fn made(ui: &mut Ui, is_first: bool, acts: &mut Acts) {
    ui.add_space(theme::GAP);
    ui.label(
        RichText::new("Signed off. Your statement lies beside the record; the record itself is as it was.").color(theme::inks(ui).within),
    );
    ui.add_space(theme::GAP);
    ui.horizontal(|ui| {
        ui.spacing_mut().interact_size.y = theme::TARGET;
        if super::with_keys(widgets::main_button(ui, "Close"), is_first).clicked() {
            acts.push(Act::Over(None));
        }
        if ui.button("Somebody else signs too…").clicked() {
            acts.push(Act::SignAnother);
        }
    });
}

/// All that is typed; gives whether it is to be sent.
fn form(ui: &mut Ui, signing: &Signing, draft: &mut Draft, is_first: bool, acts: &mut Acts) -> bool {
    let comment = if ui.available_width() < BESIDE {
        name(ui, signing, draft, is_first);
        comment(ui, draft)
    } else {
        ui.columns(2, |columns| {
            name(&mut columns[0], signing, draft, is_first);
            comment(&mut columns[1], draft)
        })
    };
    ui.add_space(theme::GAP);
    ui.label("What you say of the record");
    let room = std::mem::replace(&mut ui.spacing_mut().interact_size.y, theme::TARGET);
    ui.scope(|ui| {
        ui.spacing_mut().item_spacing.y = 0.0;
        for &meaning in Meaning::ALL {
            meaning_row(ui, meaning, draft);
        }
    });
    ui.add_space(theme::GAP);
    ui.horizontal_wrapped(|ui| {
        for (is_name_only, text) in [(false, "Sign with a key"), (true, "Type the name only")] {
            if ui.selectable_label(draft.is_name_only == is_name_only, text).clicked() {
                draft.is_name_only = is_name_only;
                draft.passphrase = Secret::default();
            }
        }
    });
    ui.spacing_mut().interact_size.y = room;
    let enter = |ui: &Ui, response: &egui::Response| response.lost_focus() && ui.input(|input| input.key_pressed(Key::Enter));
    if draft.is_name_only {
        let text = format!("It will say “{TYPED}”: anybody who can write here could have typed it.");
        ui.add(Label::new(text).wrap());
        return enter(ui, &comment);
    }
    let passphrase = key(ui, signing, draft, acts);
    enter(ui, &passphrase)
}

fn name(ui: &mut Ui, signing: &Signing, draft: &mut Draft, is_first: bool) {
    let label = ui.label("Your name, as the lab writes it");
    let wide = ui.available_width();
    let name = ui.add(widgets::line(&mut draft.name, wide)).labelled_by(label.id);
    if is_first {
        name.request_focus();
    }
    amiss(ui, signing, Place::Name);
}

fn comment(ui: &mut Ui, draft: &mut Draft) -> egui::Response {
    let label = ui.label("A comment, if you like");
    let wide = ui.available_width();
    ui.add(widgets::line(&mut draft.comment, wide)).labelled_by(label.id)
}

fn meaning_row(ui: &mut Ui, meaning: Meaning, draft: &mut Draft) {
    let chosen = draft.meaning == Some(meaning);
    let button = ui.radio(chosen, format!("{}: {}", meaning.word(), sentence(meaning)));
    if button.clicked() {
        draft.meaning = Some(meaning);
    }
}

/// Width from which two boxes stand side by side, points.
const BESIDE: f32 = 560.0;

/// File and passphrase; gives the box of the passphrase.
fn key(ui: &mut Ui, signing: &Signing, draft: &mut Draft, acts: &mut Acts) -> egui::Response {
    if ui.available_width() < BESIDE {
        key_file(ui, signing, draft, acts);
        return passphrase(ui, signing, draft);
    }
    ui.columns(2, |columns| {
        key_file(&mut columns[0], signing, draft, acts);
        passphrase(&mut columns[1], signing, draft)
    })
}

fn key_file(ui: &mut Ui, signing: &Signing, draft: &mut Draft, acts: &mut Acts) {
    let label = ui.label("The file of your key");
    ui.horizontal(|ui| {
        let wide = (ui.available_width() - 110.0).max(120.0);
        ui.add(widgets::line(&mut draft.key, wide)).labelled_by(label.id);
        ui.spacing_mut().interact_size.y = theme::TARGET;
        if ui.button("Choose…").clicked() {
            acts.push(Act::ChooseKey);
        }
    });
    amiss(ui, signing, Place::KeyFile);
}

fn passphrase(ui: &mut Ui, signing: &Signing, draft: &mut Draft) -> egui::Response {
    let label = ui.label("Its passphrase");
    let line = TextEdit::singleline(&mut draft.passphrase).password(true).desired_width(ui.available_width());
    let line = line.align(egui::Align2::LEFT_CENTER).min_size(egui::vec2(0.0, theme::TARGET));
    let passphrase = ui.add(line).labelled_by(label.id);
    amiss(ui, signing, Place::Passphrase);
    if draft.was_sent && !signing.is_going && signing.fault.as_ref().is_some_and(|(place, _)| *place == Place::Passphrase) {
        // It is typed once more, where the words are.
        draft.was_sent = false;
        passphrase.request_focus();
    }
    passphrase
}

/// Why it was not signed, beside what that is about.
fn amiss(ui: &mut Ui, signing: &Signing, at: Place) {
    if let Some((place, fault)) = &signing.fault
        && *place == at
    {
        let file = fault.file.as_ref().map_or_else(String::new, |file| format!(" ({})", file.display()));
        widgets::warning(ui, format!("{}{file}. What to do: {}", fault.message, fault.remedy));
    }
}

fn foot(ui: &mut Ui, signing: &Signing, draft: &mut Draft, entered: bool, acts: &mut Acts) {
    amiss(ui, signing, Place::Whole);
    let missing = draft.missing();
    ui.horizontal(|ui| {
        ui.spacing_mut().interact_size.y = theme::TARGET;
        if signing.is_going {
            ui.spinner();
            ui.label("opening the key and checking the whole record");
            return;
        }
        let name = if draft.is_name_only { "Put the name down" } else { "Sign" };
        let ready = missing.is_empty();
        let pressed = ui.add_enabled_ui(ready, |ui| widgets::main_button(ui, name)).inner;
        if ready && (pressed.clicked() || entered) {
            acts.0.extend(draft.request(signing).map(|asked| Act::Sign(Box::new(asked))));
        }
        super::cancel(ui, acts);
        if !ready {
            ui.add(Label::new(widgets::quiet(ui, format!("Still needed: {missing}"))).truncate());
        }
    });
}
