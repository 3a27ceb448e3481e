//! Which radio network a node joins, kept apart from who it is: a new password at home changes only this.
use crate::settings::{Rest, Wrong};
use crate::store::Payload;

/// Longest name of a network, bytes (IEEE 802.11).
pub const NETWORK_MAX: usize = 32;
/// Longest password of a WPA network, bytes.
pub const PASSWORD_MAX: usize = 63;

/// A radio network.
#[derive(Clone, PartialEq, Eq)]
pub struct Radio {
    /// Its name.
    pub network: heapless::String<NETWORK_MAX>,
    /// Its password; empty of an open one.
    pub password: heapless::String<PASSWORD_MAX>,
}

impl core::fmt::Debug for Radio {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.debug_struct("Radio").field("network", &self.network).finish_non_exhaustive()
    }
}

impl Radio {
    /// Writes it down.
    #[must_use]
    pub fn encode(&self) -> Option<Payload> {
        let mut out = Payload::new();
        for text in [self.network.as_str(), &self.password] {
            out.push(*text.len().to_le_bytes().first()?).ok()?;
            out.extend_from_slice(text.as_bytes()).ok()?;
        }
        Some(out)
    }

    /// Reads it.
    ///
    /// # Errors
    /// [`Wrong`]; [`Wrong::Text`] also for a network without a name.
    pub fn decode(bytes: &[u8]) -> Result<Self, Wrong> {
        let mut rest = Rest(bytes);
        let radio = Self { network: rest.text()?, password: rest.text()? };
        if !rest.0.is_empty() {
            return Err(Wrong::Length);
        }
        if radio.network.is_empty() { Err(Wrong::Text) } else { Ok(radio) }
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use crate::settings::RADIO;
    use crate::store::tests::Cells;

    fn radio(network: &str, password: &str) -> Radio {
        let network = heapless::String::try_from(network).unwrap();
        Radio { network, password: heapless::String::try_from(password).unwrap() }
    }

    proptest::proptest! {
        #[test]
        fn it_reads_back_from_memory_and_a_cut_one_is_none(network in ".{1,8}", password in "[ -~]{0,63}") {
            let radio = radio(&network, &password);
            let bytes = radio.encode().unwrap();
            let mut cells = Cells::empty();
            proptest::prop_assert_eq!(RADIO.save(&mut cells, &bytes), Ok(true));
            let kept = RADIO.load(&mut cells).unwrap().unwrap();
            proptest::prop_assert_eq!(Radio::decode(&kept), Ok(radio));
            for cut in 0..bytes.len() {
                proptest::prop_assert!(Radio::decode(&bytes[..cut]).is_err());
            }
        }
    }

    #[test]
    fn it_never_shows_its_password_and_needs_a_name() {
        let shown = std::format!("{:?}", radio("attic", "swordfish"));
        assert!(shown.contains("attic") && !shown.contains("swordfish"), "{shown}");
        assert_eq!(Radio::decode(&radio("", "swordfish").encode().unwrap()), Err(Wrong::Text));
    }
}
