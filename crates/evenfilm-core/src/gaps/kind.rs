//! Kinds of gaps, by stated measures. In this order:
//!
//! | measure | what it is | kind |
//! | --- | --- | --- |
//! | size | diameter ÷ resolution (0.61 λ/NA) below 5: its shape cannot be told | unsure |
//! | span | straight, and from one side of the field to the other (share of the field, at least 0.98) | streak |
//! | elongation | geodesic length ÷ thickness (ISO 9276-6) at least 5 | crack |
//! | frame | the frame cuts it, and it is neither of those | unsure |
//! | rim | optical density just outside ÷ that of the film, at least 1.05 | dewetting |
//! | circularity | at least 0.8 (ISO 9276-6) | round |
//! | circularity | less | unsure |
//!
//! The limits are this program's, set on rendered films.

use super::Gap;
use crate::plane::Rect;
use crate::recipe::GapKind;
use crate::shape::length_and_thickness;

crate::choices! {
    /// The measure that decided on a gap's kind.
    GapMeasure {
        /// Diameter ÷ resolution.
        Size = "size",
        /// Share of the field that it crosses.
        Span = "span",
        /// Geodesic length ÷ thickness.
        Elongation = "elongation",
        /// The frame cuts it.
        Frame = "frame",
        /// Optical density just outside ÷ that of the film.
        Rim = "rim",
        /// √(4πA)/P.
        Circularity = "circularity",
    }
}

/// A kind and what decided on it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ToldGap {
    /// The kind.
    pub kind: GapKind,
    /// The measure that decided.
    pub by: GapMeasure,
    /// Its value.
    pub value: f64,
}

const TOLD_FROM: f64 = 5.0;
const SPAN: f64 = 0.98;
const STRAIGHT: f64 = 0.9;
const CRACK: f64 = 5.0;
const RIM: f64 = 1.05;
const ROUND: f64 = 0.8;

/// Tells the kind of a gap. `rim` is the optical density just outside it ÷ that of the film, where it is known.
pub(super) fn tell(gap: &Gap, frame: Rect, resolution_px: f64, rim: Option<f64>) -> ToldGap {
    let told = |kind, by, value| ToldGap { kind, by, value };
    let across = gap.diameter_px() / resolution_px;
    let [length, thickness] = length_and_thickness(gap.area_px2[1], gap.perimeter_px);
    let elongation = if thickness > 0.0 { (length / thickness).max(1.0) } else { 1.0 };
    if across < TOLD_FROM && length < 2.0 * TOLD_FROM * resolution_px {
        return told(GapKind::Unsure, GapMeasure::Size, across);
    }
    let [width, height] = [f64::from(gap.at.width), f64::from(gap.at.height)];
    let span = (width / f64::from(frame.width)).max(height / f64::from(frame.height));
    if span >= SPAN && elongation >= CRACK && libm::hypot(width, height) >= STRAIGHT * length {
        return told(GapKind::Streak, GapMeasure::Span, span);
    }
    if elongation >= CRACK {
        return told(GapKind::Crack, GapMeasure::Elongation, elongation);
    }
    if gap.touches_frame {
        return told(GapKind::Unsure, GapMeasure::Frame, 1.0);
    }
    if let Some(rim) = rim.filter(|&r| r >= RIM) {
        return told(GapKind::Dewetting, GapMeasure::Rim, rim);
    }
    let circularity = gap.circularity();
    told(if circularity >= ROUND { GapKind::Round } else { GapKind::Unsure }, GapMeasure::Circularity, circularity)
}

/// Of a gap whose shape is not looked at.
pub(super) const NOT_TOLD: ToldGap = ToldGap { kind: GapKind::Unsure, by: GapMeasure::Frame, value: 1.0 };
