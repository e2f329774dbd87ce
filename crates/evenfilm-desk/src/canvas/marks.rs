//! What becomes of each object and gap on the picture: which line it has, and where it begins.

use evenfilm_core::field::FieldResult;
use evenfilm_core::objects::Object;
use evenfilm_core::phases::{NOBODY, RunMap};
use evenfilm_core::quality::FlagId;
use evenfilm_core::quantity::{counted, gap_counted, is_agglomerate};
use evenfilm_core::recipe::Recipe;

use super::Layer;

/// What a piece is to whoever counts; where two take one pixel of the screen, the higher one has it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Class {
    /// Nothing.
    None,
    /// Too small or too faint to be anything.
    Speck,
    /// A gap too small to count.
    SmallGap,
    /// An object too small to count.
    SmallObject,
    /// An object of a kind that is left out.
    LeftOut,
    /// A gap that counts.
    Gap,
    /// An object that counts.
    Object,
    /// An agglomerate that counts.
    Agglomerate,
}

impl Class {
    pub(super) const ALL: [Self; 8] =
        [Self::None, Self::Speck, Self::SmallGap, Self::SmallObject, Self::LeftOut, Self::Gap, Self::Object, Self::Agglomerate];

    /// The layer that draws its line.
    pub(crate) const fn layer(self) -> Layer {
        match self {
            Self::LeftOut => Layer::LeftOut,
            Self::Gap | Self::SmallGap => Layer::Gaps,
            _ => Layer::Outlines,
        }
    }

    /// Whether it is part of the gap phase.
    pub(crate) const fn is_gap(self) -> bool {
        matches!(self, Self::Gap | Self::SmallGap)
    }
}

/// A class and an owner in one number, the higher class the larger; 0 is nothing.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Label(pub(crate) u32);

const OWNER_BITS: u32 = 28;

impl Label {
    pub(crate) fn new(class: Class, owner: u32) -> Self {
        Self((class as u32) << OWNER_BITS | owner & ((1 << OWNER_BITS) - 1))
    }

    pub(crate) fn class(self) -> Class {
        Class::ALL.get((self.0 >> OWNER_BITS) as usize).copied().unwrap_or(Class::None)
    }

    pub(crate) const fn owner(self) -> u32 {
        self.0 & ((1 << OWNER_BITS) - 1)
    }
}

/// One piece.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Mark {
    pub(crate) label: Label,
    /// Its first pixel in the order of rows.
    pub(crate) first: [u32; 2],
}

/// All pieces of a field.
#[derive(Clone, Debug, Default)]
pub(crate) struct Marks {
    /// In the order of the objects.
    pub(crate) objects: Vec<Mark>,
    /// In the order of the gaps; empty where all outside the particles is bare, which is not marked.
    pub(crate) gaps: Vec<Mark>,
    /// Largest circles of the gaps that count: middle x, y, and diameter, px.
    pub(crate) circles: Vec<[f64; 3]>,
    /// Numbers of objects and gaps that count.
    pub(crate) counted: [usize; 2],
    /// The film is as clear as the empty slide.
    pub(crate) clear: bool,
}

impl Marks {
    /// What the recipe makes of a field.
    pub(crate) fn of(result: &FieldResult, recipe: &Recipe) -> Self {
        let clear = result.flags.iter().any(|flag| flag.id == FlagId::ClearFilm.word());
        let objects: Vec<Class> = result.objects.iter().map(|object| class_of(result, object, recipe)).collect();
        let gap_class = |gap| if gap_counted(result, gap) { Class::Gap } else { Class::SmallGap };
        let gaps: Vec<Class> = result.gaps.iter().map(gap_class).collect();
        let of_class = |classes: &[Class], wanted: fn(&Class) -> bool| classes.iter().filter(|class| wanted(class)).count();
        let counted = [of_class(&objects, |class| *class >= Class::Object), of_class(&gaps, |class| *class == Class::Gap)];
        let [particles, bare] = &result.phases;
        let circle = |gap: &evenfilm_core::gaps::Gap| [gap.circle_centre_px[0], gap.circle_centre_px[1], gap.largest_circle_px];
        let circles = result.gaps.iter().zip(&gaps).filter(|(_, class)| **class == Class::Gap).map(|(gap, _)| circle(gap));
        Self {
            objects: with_firsts(&objects, particles),
            circles: if clear { Vec::new() } else { circles.filter(|circle| circle[2] > 0.0).collect() },
            gaps: if clear { Vec::new() } else { with_firsts(&gaps, bare) },
            counted,
            clear,
        }
    }

    /// The label of a run of particle or gap.
    pub(crate) fn label(&self, gap: bool, owner: u32) -> Label {
        let (marks, speck) = if gap { (&self.gaps, Class::None) } else { (&self.objects, Class::Speck) };
        let nobody = if owner == NOBODY { Label::new(speck, 0) } else { Label(0) };
        marks.get(owner as usize).map_or(nobody, |mark| mark.label)
    }

    /// Whether a run belongs to an object or gap.
    pub(crate) fn is_thing(&self, gap: bool, owner: u32) -> bool {
        (if gap { &self.gaps } else { &self.objects }).get(owner as usize).is_some()
    }

    /// The first pixel of a piece.
    pub(crate) fn first(&self, label: Label) -> [u32; 2] {
        let marks = if label.class().is_gap() { &self.gaps } else { &self.objects };
        if label.class() == Class::Speck { [0; 2] } else { marks.get(label.owner() as usize).map_or([0; 2], |mark| mark.first) }
    }
}

/// What an object is to whoever counts.
pub(crate) fn class_of(result: &FieldResult, object: &Object, recipe: &Recipe) -> Class {
    if counted(result, object, recipe) {
        if is_agglomerate(result, object, recipe) { Class::Agglomerate } else { Class::Object }
    } else if recipe.leave_out.contains(&object.told.kind) {
        Class::LeftOut
    } else {
        Class::SmallObject
    }
}

fn with_firsts(classes: &[Class], map: &RunMap) -> Vec<Mark> {
    let label = |(owner, class): (u32, &Class)| Mark { label: Label::new(*class, owner), first: [u32::MAX; 2] };
    let mut marks: Vec<Mark> = (0..).zip(classes).map(label).collect();
    for (y, ends) in (0..).zip(map.row_start.windows(2)) {
        let range = ends[0] as usize..ends[1] as usize;
        let (runs, owners) = (map.runs.get(range.clone()).unwrap_or_default(), map.owner.get(range).unwrap_or_default());
        for (run, &owner) in runs.iter().zip(owners) {
            if let Some(mark) = marks.get_mut(owner as usize).filter(|mark| mark.first == [u32::MAX; 2]) {
                mark.first = [run.x0, y];
            }
        }
    }
    marks
}
