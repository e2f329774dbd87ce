//! Why a picture gives no scale, in words that a technician can act on.

/// The reason, and what to do.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum Refusal {
    /// The picture is too small to be cut into bands.
    #[error("the picture of {width} × {height} pixels is too small for a ruling; at least {least} a side are needed")]
    Small {
        /// Columns.
        width: u32,
        /// Rows.
        height: u32,
        /// Fewest of either.
        least: u32,
    },
    /// Nothing in it looks like even lines.
    #[error("no ruling is seen: nothing in the picture looks like straight lines side by side")]
    NoRuling,
    /// Lines differ too little from the ground.
    #[error("the lines differ from the ground by {contrast_pct:.1} % of its light, too little to place them")]
    Faint {
        /// (ground − line) ÷ the brighter, %.
        contrast_pct: f64,
    },
    /// Blur has run neighbouring lines into one wave.
    #[error("the lines are blurred into each other: what is seen is a faint wave of {pitch_px:.1} pixels, not lines")]
    Blurred {
        /// Its length.
        pitch_px: f64,
    },
    /// Too few pixels from line to line.
    #[error("the lines are {pitch_px:.1} pixels apart; below {least:.0} they cannot be told from what the pixels make of them")]
    Dense {
        /// Distance of lines.
        pitch_px: f64,
        /// Least distance.
        least: f64,
    },
    /// Too few lines.
    #[error("{found} lines are seen whole; at least {least} are needed")]
    FewLines {
        /// Lines found.
        found: usize,
        /// Fewest.
        least: usize,
    },
    /// The ruling is turned too far.
    #[error("the lines are turned by {degrees:.1}° from the picture's sides; up to {most:.0}° are measured")]
    Steep {
        /// The turn.
        degrees: f64,
        /// Largest turn.
        most: f64,
    },
    /// Spacings that belong to more than one set of lines.
    #[error(
        "two sets of lines are seen: {stray} of {all} pieces of lines do not stand where lines {pitch_px:.1} pixels apart would, so it is not sure which spacing is the pitch"
    )]
    TwoSets {
        /// Pieces that stand elsewhere.
        stray: usize,
        /// All pieces.
        all: usize,
        /// The smallest common spacing.
        pitch_px: f64,
    },
    /// Too many lines are not seen.
    #[error(
        "{missing} of the {all} lines between the first and the last are not seen, so the count is not sure, nor which spacing is the pitch"
    )]
    Missing {
        /// Lines that should be there.
        missing: usize,
        /// Lines from the first to the last.
        all: usize,
    },
    /// Every second line is of another make.
    #[error("every second line is {how}, so it is not sure whether the pitch goes from each line to the next or to the next but one")]
    Alternate {
        /// "shorter" or "fainter".
        how: &'static str,
    },
    /// Lines are not evenly spaced.
    #[error("the lines are not evenly spaced: they lie up to {worst_pct:.0} % of their spacing off an even ruling")]
    Uneven {
        /// Largest departure, % of the spacing.
        worst_pct: f64,
    },
    /// Two directions that are not square to each other.
    #[error("the lines of both directions are {degrees:.1}° off a right angle")]
    Skew {
        /// The departure.
        degrees: f64,
    },
    /// Two directions of different scale.
    #[error("the two directions give {x:.5} and {y:.5} µm per pixel, over 1 % apart; one scale cannot hold for both")]
    Directions {
        /// Along x.
        x: f64,
        /// Along y.
        y: f64,
    },
}

impl Refusal {
    /// What to do: one sentence without a full stop.
    pub const fn remedy(&self) -> &'static str {
        match self {
            Self::Small { .. } => "give the whole picture as the camera took it",
            Self::NoRuling => "photograph the ruling in focus, its lines along a side of the picture and across at least half of it",
            Self::Faint { .. } => "close the condenser aperture or expose longer, focus on the lines, and photograph again",
            Self::Blurred { .. } => "focus on the lines, or take a coarser ruling or a stronger objective",
            Self::Dense { .. } => "take a coarser ruling, a stronger objective, or pictures without binning",
            Self::FewLines { .. } => "photograph more of the ruling, or take a finer one",
            Self::Steep { .. } => "turn slide or camera until the lines run along a side of the picture",
            Self::TwoSets { .. } | Self::Missing { .. } => {
                "photograph or cut out a part that shows lines of one spacing only, clean, and give that spacing as --pitch-um"
            }
            Self::Alternate { .. } => {
                "photograph or cut out a part that shows lines of one kind only, and give their spacing as --pitch-um"
            }
            Self::Uneven { .. } => "check that it is a ruling of even pitch and that slide and camera stood still",
            Self::Skew { .. } => "cut out a part with lines of one direction",
            Self::Directions { .. } => {
                "check that both directions have one pitch and that the camera's pixels are square, or cut out one direction"
            }
        }
    }
}
