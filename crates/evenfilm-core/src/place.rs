//! Things found again by a place in their field, and given another kind by somebody who looked at them.

use crate::field::{FieldResult, mark_centres};
use crate::phases::{NOBODY, RunMap};
use crate::plane::Rect;
use crate::recipe::{GapKind, Kind};

/// The object at a place `(x, y)` of the field, in pixels from its upper left corner: the one whose centroid it is, as tables print it; else
/// the one whose pixels hold the place; else the one whose centroid or middle of the box is nearest, within the smallest distance that the
/// lens resolves. The centroid of a ring may lie in something else.
pub fn object_at(field: &FieldResult, at: [f64; 2]) -> Option<usize> {
    let things = || field.objects.iter().map(|object| (object.at, object.centroid_px));
    let own = || owner_at(&field.phases[0], field.size, at, field.objects.len());
    centred_at(things(), at).or_else(own).or_else(|| nearest(things(), at, field.resolution_px))
}

/// The gap at a place, as [`object_at`].
pub fn gap_at(field: &FieldResult, at: [f64; 2]) -> Option<usize> {
    let things = || field.gaps.iter().map(|gap| (gap.at, gap.centroid_px));
    let own = || owner_at(&field.phases[1], field.size, at, field.gaps.len());
    centred_at(things(), at).or_else(own).or_else(|| nearest(things(), at, field.resolution_px))
}

/// Gives an object another kind. Whether a gap is the bright centre of a hollow thing follows.
pub fn set_object_kind(field: &mut FieldResult, object: usize, kind: Kind) {
    let Some(changed) = field.objects.get_mut(object) else { return };
    let before = std::mem::replace(&mut changed.told.kind, kind);
    if before != kind && (before == Kind::Hollow || kind == Kind::Hollow) {
        mark_centres(&mut field.gaps, &field.objects);
    }
}

/// Gives a gap another kind.
pub fn set_gap_kind(field: &mut FieldResult, gap: usize, kind: GapKind) {
    if let Some(changed) = field.gaps.get_mut(gap) {
        changed.told.kind = kind;
    }
}

/// The thing whose centroid a place is, to the digits that tables print.
fn centred_at(mut things: impl Iterator<Item = (Rect, [f64; 2])>, at: [f64; 2]) -> Option<usize> {
    let close = |k: usize, centroid: [f64; 2]| (centroid[k] - at[k]).abs() <= 1e-4f64.max(1e-7 * at[k].abs());
    things.position(|(_, centroid)| close(0, centroid) && close(1, centroid))
}

/// The owner of the pixel that holds a place; the right and lower side of the frame belong to it.
fn owner_at(map: &RunMap, (width, height): (u32, u32), at: [f64; 2], count: usize) -> Option<usize> {
    let pixel = |value: f64, end: u32| {
        let inside = value >= 0.0 && value <= f64::from(end) && end > 0;
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "within the frame")]
        inside.then(|| (value as u32).min(end - 1))
    };
    let (x, y) = (pixel(at[0], width)?, pixel(at[1], height)?);
    let owner = *map.owner.get(map.row_within(y, x, x + 1).next()?)?;
    (owner != NOBODY && (owner as usize) < count).then_some(owner as usize)
}

/// The thing whose box's middle or centroid is nearest, within `reach`; the first of several.
fn nearest(things: impl Iterator<Item = (Rect, [f64; 2])>, at: [f64; 2], reach: f64) -> Option<usize> {
    let squared = |to: [f64; 2]| (to[0] - at[0]).powi(2) + (to[1] - at[1]).powi(2);
    let middle = |at: Rect| [f64::from(at.x) + f64::from(at.width) / 2.0, f64::from(at.y) + f64::from(at.height) / 2.0];
    let distances = things.map(|(at, centroid)| squared(middle(at)).min(squared(centroid))).enumerate();
    let best = distances.reduce(|best, next| if next.1 < best.1 { next } else { best })?;
    (best.1 <= reach * reach).then_some(best.0)
}

#[cfg(test)]
mod tests {
    use std::sync::atomic::AtomicBool;

    use super::*;
    use crate::field::{Setting, measure, survey};
    use crate::light::{Lamp, Optics};
    use crate::plane::{Plane, Samples, Watch};
    use crate::recipe::Recipe;

    #[test]
    fn a_printed_centroid_comes_before_what_lies_there() {
        let (outer, inner) = (Rect::new(0, 0, 30, 30), Rect::new(12, 12, 6, 6));
        let things = || [(inner, [15.4, 15.0]), (outer, [15.2, 15.1])].into_iter();
        assert_eq!(centred_at(things(), [15.200_000_04, 15.1]), Some(1));
        assert_eq!(centred_at(things(), [15.3, 15.05]), None);
    }

    /// A hazy film with discs of powder, a gap at (100, 30), and a ring about (40, 40) with a bare middle.
    fn field() -> FieldResult {
        let (width, height) = (140, 80);
        let mut discs = vec![(40.0, 40.0, 14.0, 40_000u16), (40.0, 40.0, 19.0, 2_000), (100.0, 30.0, 9.0, 40_000)];
        discs.extend([(80.0, 65.0, 6.0, 2_000), (100.0, 65.0, 6.0, 2_000), (120.0, 60.0, 6.0, 2_000)]);
        let picture = Plane::from_shape_fn((height, width), |(row, column)| {
            let (x, y) = (column as f64 + 0.5, row as f64 + 0.5);
            discs.iter().find(|d| (x - d.0).powi(2) + (y - d.1).powi(2) < f64::powi(d.2, 2)).map_or(18_000, |d| d.3)
        });
        let blank = Plane::from_elem((height, width), 40_000u16);
        let optics = Optics { um_per_px: 0.25, numerical_aperture: Some(0.65), wavelength_nm: Some(550.0), full_scale: u16::MAX };
        let (recipe, cancel) = (Recipe::default(), AtomicBool::new(false));
        let watch = Watch { cancel: &cancel, tell: &|_, _| () };
        let lamp = Lamp::new(Some(&blank as &dyn Samples), None, watch).unwrap();
        let setting = Setting { optics: &optics, recipe: &recipe, necks: false, watch };
        let (seen, light) = survey(&picture, &lamp, &setting).unwrap();
        measure(&picture, (&seen, &light), None, &setting).unwrap()
    }

    #[test]
    fn things_are_found_by_their_pixels_else_by_their_middle() {
        let field = field();
        let ring = object_at(&field, [40.0, 23.0]).unwrap();
        assert_eq!(field.objects[ring].told.kind, Kind::Hollow);
        // Its middle is a gap, and no pixel of the ring.
        assert_eq!(object_at(&field, [40.5, 39.6]), Some(ring));
        assert_eq!(object_at(&field, [40.0, 34.0]), None, "further from the middle than the lens resolves");
        let middle = gap_at(&field, [40.0, 34.0]).unwrap();
        let gap = gap_at(&field, [107.0, 30.0]).unwrap();
        assert_ne!(middle, gap);
        let disc = object_at(&field, [80.0, 65.0]).unwrap();
        assert_ne!(disc, ring);
        for at in [[-1.0, 5.0], [5.0, 1e300], [f64::NAN, 5.0], [140.0, 80.0], [60.0, 10.0]] {
            assert_eq!((object_at(&field, at), gap_at(&field, at)), (None, None), "{at:?}");
        }
    }

    #[test]
    fn the_middle_of_what_is_no_bubble_is_a_gap() {
        let mut field = field();
        let (ring, middle) = (object_at(&field, [40.0, 23.0]).unwrap(), gap_at(&field, [40.0, 40.0]).unwrap());
        let gap = gap_at(&field, [100.0, 30.0]).unwrap();
        let inside = |field: &FieldResult| [middle, gap].map(|i| field.gaps[i].in_hollow);
        assert_eq!(inside(&field), [true, false]);
        set_object_kind(&mut field, ring, Kind::Powder);
        assert_eq!((inside(&field), field.objects[ring].told.kind), ([false, false], Kind::Powder));
        set_object_kind(&mut field, ring, Kind::Dust);
        assert_eq!(inside(&field), [false, false]);
        set_object_kind(&mut field, ring, Kind::Hollow);
        assert_eq!(inside(&field), [true, false]);
        set_gap_kind(&mut field, gap, GapKind::Streak);
        assert_eq!(field.gaps[gap].told.kind, GapKind::Streak);
        set_object_kind(&mut field, usize::MAX, Kind::Dust);
        set_gap_kind(&mut field, usize::MAX, GapKind::Crack);
    }
}
