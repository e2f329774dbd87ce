//! Strangers: what lies in a film besides powder and pinholes, each sort as its own population.

use super::{PhantomSpec, Purpose, floor_index};
use crate::random::Draws;
use crate::recipe::{GapKind, Kind};

/// A sort of thing. Each has a size and a width.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sort {
    /// A dark ring of that width, sharp on both sides, around a centre a little brighter than the film; the size is its outer diameter.
    Bubble,
    /// A thin ring that is darkest in the middle of its width and soft on both sides, around a centre as bright as the film.
    Droplet,
    /// A band of even width with blunt ends, bent once or twice; the size is its length.
    Fibre,
    /// A straight crystal, in equal shares blunt and tapered to 40 % of its width; the size is its length.
    Needle,
    /// A convex polygon of four to six corners on an ellipse whose axes are size and width.
    Plate,
    /// A speck on the optics with a ragged outline, at the same place of every field of a lot, but not in the blank. The size is its
    /// area-equivalent diameter, the width plays no part.
    Dust,
    /// A zig-zag gap that tapers from that width towards both tips, every second with a branch; the size is the length along it.
    Crack,
    /// A round to wobbly gap of that area-equivalent diameter, within a rim of film 1.4 times as dense; the width is the rim's mean.
    Dewetting,
}

impl Sort {
    /// What a measurement should call it.
    pub const fn role(self) -> Role {
        match self {
            Self::Bubble | Self::Droplet => Role::Object(Kind::Hollow),
            Self::Fibre => Role::Object(Kind::Fibre),
            Self::Needle | Self::Plate => Role::Object(Kind::Crystal),
            Self::Dust => Role::Object(Kind::Dust),
            Self::Crack => Role::Gap(GapKind::Crack),
            Self::Dewetting => Role::Gap(GapKind::Dewetting),
        }
    }

    const fn purpose(self) -> Purpose {
        match self {
            Self::Bubble => Purpose::Bubbles,
            Self::Droplet => Purpose::Droplets,
            Self::Fibre => Purpose::Fibres,
            Self::Needle => Purpose::Needles,
            Self::Plate => Purpose::Plates,
            Self::Dust => Purpose::Dust,
            Self::Crack => Purpose::Cracks,
            Self::Dewetting => Purpose::Dewettings,
        }
    }

    /// The draws of this sort in a field; those of dust are the lot's.
    pub(super) fn draws(self, spec: &PhantomSpec, slide: u32, field: u32) -> Draws {
        let (slide, field) = if matches!(self, Self::Dust) { (0, 0) } else { (slide, field) };
        Draws::new(spec.source(slide, field, self.purpose()))
    }
}

/// What a thing is to a measurement.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Role {
    /// It darkens.
    Object(Kind),
    /// It is bare.
    Gap(GapKind),
}

/// How many of a sort a field holds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Amount {
    /// A Poisson number of this mean per mm²; 0 for none.
    PerMm2(f64),
    /// Exactly so many, where there is room.
    PerField(u32),
}

/// The width of a thing.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Width {
    /// Evenly between these, µm.
    Um([f64; 2]),
    /// Evenly between these shares of its size.
    OfSize([f64; 2]),
}

/// The things of one sort. They lie whole within the field.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sparse {
    /// How many.
    pub amount: Amount,
    /// Smallest and largest size, µm; evenly between them by its logarithm.
    pub size_um: [f64; 2],
    /// The width.
    pub width: Width,
}

impl Sparse {
    /// The same, so many in each field.
    #[must_use]
    pub const fn per_field(self, count: u32) -> Self {
        Self { amount: Amount::PerField(count), ..self }
    }

    /// The same, so many per mm² on average.
    #[must_use]
    pub const fn per_mm2(self, mean: f64) -> Self {
        Self { amount: Amount::PerMm2(mean), ..self }
    }

    pub(super) fn number(&self, draws: &mut Draws, field_mm2: f64) -> usize {
        match self.amount {
            Amount::PerMm2(mean) => floor_index(draws.poisson(mean * field_mm2)),
            Amount::PerField(count) => count as usize,
        }
    }

    /// Size and width of the next one, µm.
    pub(super) fn draw(&self, draws: &mut Draws) -> [f64; 2] {
        let [low, high] = self.size_um.map(libm::log);
        let size = libm::exp(draws.between(low, high));
        let width = match self.width {
            Width::Um([low, high]) => draws.between(low, high),
            Width::OfSize([low, high]) => size * draws.between(low, high),
        };
        [size, width]
    }
}

/// Every sort of stranger.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Strangers {
    /// Bubbles of 5–30 µm with a ring of 8–12 % of that.
    pub bubbles: Sparse,
    /// Droplets of 5–25 µm with a ring of 7–9 % of that.
    pub droplets: Sparse,
    /// Fibres of 60–150 µm by 2–4 µm.
    pub fibres: Sparse,
    /// Needles of 12–40 µm, 4–10 times as long as wide.
    pub needles: Sparse,
    /// Plates of 6–20 µm, up to 1.5 times as long as wide.
    pub plates: Sparse,
    /// Dust of 4–12 µm.
    pub dust: Sparse,
    /// Cracks of 30–90 µm, 2–4 µm wide.
    pub cracks: Sparse,
    /// Dewetting of 8–25 µm with a rim of 2–4 µm.
    pub dewettings: Sparse,
}

impl Strangers {
    /// None of any; with the sizes stated at each sort, so that a number switches it on.
    pub const NONE: Self = {
        const fn sparse(size_um: [f64; 2], width: Width) -> Sparse {
            Sparse { amount: Amount::PerMm2(0.0), size_um, width }
        }
        Self {
            bubbles: sparse([5.0, 30.0], Width::OfSize([0.08, 0.12])),
            droplets: sparse([5.0, 25.0], Width::OfSize([0.07, 0.09])),
            fibres: sparse([60.0, 150.0], Width::Um([2.0, 4.0])),
            needles: sparse([12.0, 40.0], Width::OfSize([0.1, 0.25])),
            plates: sparse([6.0, 20.0], Width::OfSize([0.67, 1.0])),
            dust: sparse([4.0, 12.0], Width::OfSize([1.0, 1.0])),
            cracks: sparse([30.0, 90.0], Width::Um([2.0, 4.0])),
            dewettings: sparse([8.0, 25.0], Width::Um([2.0, 4.0])),
        }
    };

    /// Some of each, so few that they find room apart.
    pub const fn some() -> Self {
        let none = Self::NONE;
        Self {
            bubbles: none.bubbles.per_mm2(50.0),
            droplets: none.droplets.per_mm2(50.0),
            fibres: none.fibres.per_mm2(30.0),
            needles: none.needles.per_mm2(60.0),
            plates: none.plates.per_mm2(60.0),
            dust: none.dust.per_field(6),
            cracks: none.cracks.per_mm2(30.0),
            dewettings: none.dewettings.per_mm2(30.0),
        }
    }

    /// Every sort in the order of laying: dust first, so that its places do not depend on the field.
    pub(super) const fn each(&self) -> [(Sort, Sparse); 8] {
        [
            (Sort::Dust, self.dust),
            (Sort::Fibre, self.fibres),
            (Sort::Crack, self.cracks),
            (Sort::Dewetting, self.dewettings),
            (Sort::Bubble, self.bubbles),
            (Sort::Droplet, self.droplets),
            (Sort::Needle, self.needles),
            (Sort::Plate, self.plates),
        ]
    }
}

/// A thing at a stated place, the same in every field. What is laid at random keeps clear of it; whether stated things overlap each other
/// or leave the field is up to who states them.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Placed {
    /// What it is.
    pub sort: Sort,
    /// Where its origin lies (x, y) from the field's corner, µm: the middle of its box, or of a round outline.
    pub centre_um: [f64; 2],
    /// Its size, µm; see [`Sort`].
    pub size_um: f64,
    /// Its width, µm; see [`Sort`].
    pub width_um: f64,
    /// Direction of its length, degrees from x to y.
    pub angle_deg: f64,
}
