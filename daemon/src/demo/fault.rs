//! `--fault KIND@NEST[+DURATION]`.
use super::shelf::NESTS;
use crate::times::{self, TimeError};
use enclosure::Span;
use world::FaultKind;

/// A fault that was asked for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FaultWish {
    /// What.
    pub kind: FaultKind,
    /// Which nest, by its place in the list.
    pub nest: usize,
    /// When, in simulated time after the made history.
    pub after: Span,
}

/// Why it is none. Exit 2.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum FaultWishError {
    /// The form is wrong.
    #[error("\"{0}\" is no fault: write it as KIND@NEST or KIND@NEST+DURATION, as stuck-on@oak+30m")]
    Form(String),
    /// There is no such kind.
    #[error("\"{0}\" is no kind of fault; there are {list}", list = kinds())]
    Kind(String),
    /// There is no such nest.
    #[error("the demonstration has no nest \"{0}\"; there are {list}", list = NESTS.join(", "))]
    Nest(String),
    /// The duration is none.
    #[error(transparent)]
    Length(TimeError),
}

fn kinds() -> String {
    FaultKind::ALL.map(FaultKind::name).join(", ")
}

impl std::str::FromStr for FaultWish {
    type Err = FaultWishError;

    fn from_str(text: &str) -> Result<Self, FaultWishError> {
        let (kind, rest) = text.split_once('@').ok_or_else(|| FaultWishError::Form(text.to_owned()))?;
        let (nest, after) = rest.split_once('+').map_or((rest, None), |(nest, after)| (nest, Some(after)));
        let after = match after {
            Some(after) => times::duration(after).map_err(FaultWishError::Length)?,
            None => Span::ZERO,
        };
        Self::new(kind, nest, after)
    }
}

impl FaultWish {
    /// A fault by its names, so long after the made history.
    ///
    /// # Errors
    /// [`FaultWishError::Kind`] and [`FaultWishError::Nest`], with what there is.
    pub fn new(kind: &str, nest: &str, after: Span) -> Result<Self, FaultWishError> {
        let kind = FaultKind::from_name(kind).ok_or_else(|| FaultWishError::Kind(kind.to_owned()))?;
        let place = NESTS.iter().position(|known| *known == nest);
        let nest = place.ok_or_else(|| FaultWishError::Nest(nest.to_owned()))?;
        Ok(Self { kind, nest, after })
    }
}
