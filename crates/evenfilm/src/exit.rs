//! Exit codes.

use std::process::ExitCode;

use evenfilm_record::fault::FaultKind;

/// How a run ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Exit {
    /// 0: all done.
    Done,
    /// 1: several asked for and one or more failed, or the work itself failed.
    Failed,
    /// 2: wrong usage or unusable input.
    Unusable,
    /// 3: done, but a lot is not within its limits, or a proof failed.
    Fault,
    /// 130: interrupted.
    Interrupted,
}

impl Exit {
    /// How a run ends whose only task met this fault.
    pub(crate) const fn of(kind: FaultKind) -> Self {
        match kind {
            FaultKind::Input => Self::Unusable,
            FaultKind::Work => Self::Failed,
            FaultKind::Interrupted => Self::Interrupted,
        }
    }

    /// How a run of some tasks ends, given the faults that they met.
    pub(crate) fn of_all(tasks: usize, faults: &[FaultKind]) -> Self {
        match faults {
            [] => Self::Done,
            _ if faults.contains(&FaultKind::Interrupted) => Self::Interrupted,
            [only] if tasks == 1 => Self::of(*only),
            _ => Self::Failed,
        }
    }

    /// The number that a shell sees.
    pub(crate) const fn code(self) -> u8 {
        match self {
            Self::Done => 0,
            Self::Failed => 1,
            Self::Unusable => 2,
            Self::Fault => 3,
            Self::Interrupted => 130,
        }
    }
}

impl From<Exit> for ExitCode {
    fn from(exit: Exit) -> Self {
        exit.code().into()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn codes_follow_who_must_act() {
        use FaultKind::{Input, Interrupted, Work};
        let cases: [(usize, &[FaultKind], u8); 8] = [
            (3, &[], 0),
            (1, &[Input], 2),
            (1, &[Work], 1),
            (2, &[Input], 1),
            (2, &[Input, Input], 1),
            (2, &[Work], 1),
            (1, &[Interrupted], 130),
            (5, &[Input, Interrupted], 130),
        ];
        for (tasks, faults, code) in cases {
            assert_eq!(Exit::of_all(tasks, faults).code(), code, "{tasks} {faults:?}");
        }
    }
}
