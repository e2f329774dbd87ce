//! What was painted last, so that it is composed again only when something changed.

use std::sync::{Arc, OnceLock};

use egui::{Color32, ColorImage, Context, Rect, TextureHandle, TextureOptions, Ui};
use evenfilm_core::field::FieldResult;
use evenfilm_core::phases::Cuts;
use evenfilm_core::recipe::Recipe;
use evenfilm_record::lot::{Inspected, InspectedField};

use super::Room;
use super::part::Parts;
use crate::canvas::{Camera, Coarse, FieldPicture, Greys, Layer, Layers, Marks, Scene, Seen, compose};
use crate::jobs::Wanted;
use crate::state::Lot;
use crate::theme;

/// How strongly phases are tinted at least while a choice that decides on them is being changed.
const LIVE_TINT: f32 = 0.6;

/// How strongly lines are drawn that are of earlier choices.
const EARLIER: f32 = 0.45;

/// All that decides how the picture looks.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Key {
    seen: Seen,
    size: [usize; 2],
    layers: Layers,
    bared: f32,
    cuts: Option<(f64, Option<f64>)>,
    thick: usize,
    around: Color32,
    /// Count of changes of picture, numbers and finer parts.
    of: [u64; 3],
}

/// A picture on the screen.
#[derive(Default)]
struct Painted {
    texture: Option<TextureHandle>,
    image: Arc<ColorImage>,
    key: Option<Key>,
}

impl Painted {
    /// Composes and uploads where something changed.
    fn show(&mut self, ctx: &Context, name: &str, key: Key, scene: &Scene<'_>) {
        if self.key == Some(key) && self.texture.is_some() {
            return;
        }
        if Arc::get_mut(&mut self.image).is_none() {
            // The last one still waits to be uploaded.
            self.image = Arc::default();
        }
        if let Some(image) = Arc::get_mut(&mut self.image) {
            compose(scene, &mut image.pixels);
            image.size = scene.size;
            image.source_size = egui::Vec2::new(scene.size[0] as f32, scene.size[1] as f32);
        }
        self.key = Some(key);
        match &mut self.texture {
            Some(texture) => texture.set(Arc::clone(&self.image), TextureOptions::NEAREST),
            none => *none = Some(ctx.load_texture(name, Arc::clone(&self.image), TextureOptions::NEAREST)),
        }
    }

    fn draw(&self, ui: &Ui, rect: Rect, part: [f32; 2]) {
        if let Some(texture) = &self.texture {
            let all = Rect::from_min_max(egui::Pos2::ZERO, egui::pos2(part[0], part[1]));
            ui.painter().image(texture.id(), rect, all, Color32::WHITE);
        }
    }
}

/// What was painted last, and what painting needs.
#[derive(Default)]
pub(crate) struct Canvas {
    view: Painted,
    overview: Painted,
    greys: Option<[Greys; 2]>,
    /// The picture that is shown, the numbers, and the field.
    picture: Option<Arc<FieldPicture>>,
    measured: Option<(Arc<Inspected>, usize)>,
    marks: Marks,
    /// Runs halved, as soon as they are made; a new place for every field.
    coarse: Arc<OnceLock<Coarse>>,
    pub(super) parts: Parts,
    changes: [u64; 2],
}

impl Canvas {
    /// Lets go of a picture that is no longer shown.
    pub(super) fn forget(&mut self) {
        *self = Self { changes: self.changes, ..Self::default() };
        self.changes[0] += 1;
    }

    /// Looks at what is shown of a lot; where that is something else than before, what was known is made anew.
    pub(super) fn look_at(&mut self, ctx: &Context, lot: &Lot) {
        if let Some(picture) = lot.picture.as_ref().filter(|new| !self.picture.as_ref().is_some_and(|old| Arc::ptr_eq(old, new))) {
            self.picture = Some(Arc::clone(picture));
            self.parts = Parts::default();
            self.changes[0] += 1;
        }
        let same = |(old, field): &(Arc<Inspected>, usize), new: &Arc<Inspected>| *field == lot.field && Arc::ptr_eq(old, new);
        match (&self.measured, &lot.measured) {
            (Some(old), Some(new)) if same(old, new) => {}
            (None, None) => {}
            (_, None) => (self.measured, self.marks) = (None, Marks::default()),
            (_, Some(new)) => {
                let recipe = lot.measured_with.as_ref().map_or(&lot.now.recipe, |with| &with.recipe);
                self.marks = new.fields.get(lot.field).map_or_else(Marks::default, |field| Marks::of(&field.result, recipe));
                self.measured = Some((Arc::clone(new), lot.field));
                self.changes[1] += 1;
                self.halve(ctx, Arc::clone(new), lot.field);
            }
        }
        self.look_at_tones();
    }

    /// Halves the runs of a field of very many, beside the window.
    fn halve(&mut self, ctx: &Context, measured: Arc<Inspected>, field: usize) {
        self.coarse = Arc::default();
        if !measured.fields.get(field).is_some_and(|field| Coarse::is_needed(&field.result)) {
            return;
        }
        let (to, ctx) = (Arc::downgrade(&self.coarse), ctx.clone());
        let halve = move || {
            // Nobody waits any more where other numbers came meanwhile.
            if let (Some(field), Some(to)) = (measured.fields.get(field), to.upgrade()) {
                let _ = to.set(Coarse::of(&field.result));
                ctx.request_repaint();
            }
        };
        // Without a thread it stays slow. The canvas's own are for composing, which must not wait for this.
        let _ = std::thread::Builder::new().name("halving".into()).spawn(halve);
    }

    fn look_at_tones(&mut self) {
        let Some(picture) = &self.picture else { return };
        let film = picture.film.map(|film| f64::from(film.level));
        // A field that shows too little film is drawn as the film that it is measured with.
        let film = film.or_else(|| picture.cuts.film.values().next());
        let fits = |greys: &[Greys; 2]| greys[0].is_of_levels(film) && greys[1].is_of_counts(picture.full_scale);
        if !self.greys.as_ref().is_some_and(fits) {
            self.greys = Some([Greys::of_levels(film), Greys::of_counts(picture.full_scale)]);
        }
    }

    /// What was found in the field that is shown.
    pub(super) fn found(&self) -> Option<(&InspectedField, &Marks)> {
        let (measured, field) = self.measured.as_ref()?;
        Some((measured.fields.get(*field)?, &self.marks))
    }

    /// Asks for a part that is finer than what is held, where the eye would see the difference.
    pub(super) fn ask_for_part(&mut self, room: &Room<'_>, wanted: &Wanted) {
        if let Some((part, reduction)) = self.parts.wanted(room.picture, room.seen(), room.view_px()) {
            wanted.ask(part, reduction);
        }
    }

    /// Paints the picture.
    pub(super) fn paint(&mut self, ui: &Ui, room: &Room<'_>, bared: f32) {
        let Some(greys) = &self.greys else { return };
        let how = How::of(room.lot);
        let around = theme::inks(ui).press;
        let size = room.view_px().map(whole);
        let thick = if room.scale > 1.5 { 2 } else { 1 };
        let is_held = ui.input(|input| input.pointer.any_down());
        let (seen, size, thick, part) = coarser(how.is_live && is_held, (room.seen(), size, thick));
        let cuts = how.cuts.as_ref();
        let key = Key {
            seen,
            size,
            layers: how.layers,
            bared,
            cuts: cuts.map(|cuts| (cuts.particle, cuts.gap)),
            thick,
            around,
            of: [self.changes[0], self.changes[1], self.parts.changes()],
        };
        let found = self.measured.as_ref().and_then(|(measured, field)| measured.fields.get(*field));
        let found: Option<&FieldResult> = found.map(|field| &field.result).filter(|result| result.size == room.picture.size);
        let scene = Scene {
            picture: room.picture,
            details: self.parts.all(),
            greys: [&greys[0], &greys[1]],
            found: found.map(|result| (result, &self.marks)),
            coarse: self.coarse.get(),
            cuts,
            layers: how.layers,
            seen: key.seen,
            size,
            bared,
            thick,
            around,
        };
        self.view.show(ui.ctx(), "picture", key, &scene);
        self.view.draw(ui, room.rect, part);
    }

    /// Paints the whole field, small and without marks.
    pub(super) fn paint_overview(&mut self, ui: &Ui, room: &Room<'_>, rect: Rect) {
        let Some(greys) = &self.greys else { return };
        let size = [rect.width(), rect.height()].map(|side| whole(f64::from((side * room.scale).round().max(1.0))));
        let seen = Camera::default().seen(size.map(|side| side as f64), room.picture.size);
        let mut layers = Layers([0.0; 8]);
        layers.set(Layer::Light, 1.0);
        let around = theme::inks(ui).press;
        let of = [self.changes[0], 0, 0];
        let key = Key { seen, size, layers, bared: 0.0, cuts: None, thick: 1, around, of };
        let greys = [&greys[0], &greys[1]];
        let scene = Scene {
            picture: room.picture,
            details: &[],
            greys,
            found: None,
            coarse: None,
            cuts: None,
            layers,
            seen,
            size,
            bared: 0.0,
            thick: 1,
            around,
        };
        self.overview.show(ui.ctx(), "overview", key, &scene);
        self.overview.draw(ui, rect, [1.0; 2]);
    }
}

/// Pixels of a view up to which it is composed in full while a mark is pulled.
const FULL_PX: usize = 4_000_000;

/// What is composed of a view: all pixels, or where it is very large and has to follow a mark every second one; and the share of what is
/// composed that is shown.
fn coarser(hurried: bool, (seen, size, thick): (Seen, [usize; 2], usize)) -> (Seen, [usize; 2], usize, [f32; 2]) {
    if !hurried || size[0] * size[1] <= FULL_PX {
        return (seen, size, thick, [1.0; 2]);
    }
    let half = size.map(|side| side.div_ceil(2));
    let part = [0, 1].map(|i| size[i] as f32 / (2 * half[i]) as f32);
    (Seen { zoom: seen.zoom / 2.0, ..seen }, half, 1, part)
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "sizes of a window")]
fn whole(side: f64) -> usize {
    side.clamp(1.0, 32_768.0) as usize
}

/// How a lot is drawn while its choices change.
pub(super) struct How {
    /// Where phases are told live, what they are cut at.
    pub(super) cuts: Option<Cuts>,
    pub(super) layers: Layers,
    /// Whether what phases are cut at differs from what was measured.
    is_live: bool,
}

impl How {
    pub(super) fn of(lot: &Lot) -> Self {
        let mut layers = lot.layers;
        let Some(picture) = lot.picture.as_ref().filter(|_| !lot.is_current()) else {
            return Self { cuts: None, layers, is_live: false };
        };
        let cuts = picture.cuts(&lot.now.recipe);
        let before = lot.measured_with.as_ref().map(|with| picture.cuts(&with.recipe));
        let is_live = before.is_some_and(|before| differ(&before, &cuts));
        if is_live {
            layers.set(Layer::Phases, layers.of(Layer::Phases).max(LIVE_TINT));
            for layer in [Layer::Outlines, Layer::Agglomerates, Layer::Constituents, Layer::Gaps, Layer::LeftOut] {
                layers.set(layer, layers.of(layer) * EARLIER);
            }
        }
        Self { cuts: Some(cuts), layers, is_live }
    }
}

fn differ(a: &Cuts, b: &Cuts) -> bool {
    a.particle.to_bits() != b.particle.to_bits() || a.gap.map(f64::to_bits) != b.gap.map(f64::to_bits)
}

/// The recipe that numbers were made with.
pub(super) fn recipe_of(lot: &Lot) -> &Recipe {
    lot.measured_with.as_ref().map_or(&lot.now.recipe, |with| &with.recipe)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_large_views_in_a_hurry_are_coarser() {
        let seen = Seen { from: [10.0, 20.0], zoom: 0.5 };
        assert_eq!(coarser(false, (seen, [3840, 2000], 2)), (seen, [3840, 2000], 2, [1.0; 2]));
        assert_eq!(coarser(true, (seen, [1600, 1000], 1)), (seen, [1600, 1000], 1, [1.0; 2]));
        let (half, size, thick, part) = coarser(true, (seen, [3841, 2000], 2));
        assert_eq!((half, size, thick), (Seen { zoom: 0.25, ..seen }, [1921, 1000], 1));
        // The last column of the screen shows half of the last that is composed.
        assert!((part[0] - 3841.0 / 3842.0).abs() < 1e-6 && (part[1] - 1.0).abs() < 1e-6);
    }
}
