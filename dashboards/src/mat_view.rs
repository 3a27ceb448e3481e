//! A heating mat, as pages and pictures are told of it.
use crate::view::Stretch;

/// On which side of the nest a heating mat lies.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum MatPlace {
    /// Under it.
    #[default]
    Under,
    /// At its side.
    Beside,
    /// On its lid.
    Lid,
    /// Inside it.
    Inside,
}

/// A heating mat or cable.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct MatView {
    /// The stretch it warms.
    pub span: Stretch,
    /// Where it lies.
    pub place: MatPlace,
    /// Rated power, W.
    pub rated_w: f64,
    /// What it is told.
    pub told: MatTold,
}

/// What is known of what a mat is told.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum MatTold {
    /// Nothing reports it.
    #[default]
    Unreported,
    /// Something would report it, and was not heard yet.
    Unheard,
    /// Duty 0 to 1.
    Duty(f64),
}

impl MatTold {
    /// Duty 0 to 1, where it is known.
    pub fn duty(self) -> Option<f64> {
        match self {
            Self::Duty(duty) => Some(duty).filter(|d| d.is_finite()),
            Self::Unreported | Self::Unheard => None,
        }
    }
}
