//! What outlives a power cut, in the chip's own flash: the partition that is called `nvs` in the usual table.
//!
//! Flash is erased by sectors: so what a person wrote lies in the first, as one image, and is only read; each slot of
//! the node's own notes has a sector to itself, so that a cut while one is written leaves the other.
use embedded_storage::nor_flash::{NorFlash, ReadNorFlash};
use esp_storage::FlashStorage;
use node::settings::NOTES;
use node::store::{Memory, SLOT};

/// Where the partition begins.
const BEGIN: u32 = 0x9000;
const SECTOR: u32 = FlashStorage::SECTOR_SIZE;
/// One slot, in whole words.
const BYTES: usize = SLOT as usize;

/// The flash.
pub struct Flash(FlashStorage<'static>);

/// Says what could not be done.
#[derive(Debug)]
pub enum Wrong {
    /// The flash itself.
    Flash,
    /// That is not a slot of the notes, and nothing else is written.
    NotOurs,
}

impl Flash {
    /// The flash.
    pub const fn new(flash: FlashStorage<'static>) -> Self {
        Self(flash)
    }
}

/// The sector of a slot of the notes, and where in it `at` lies.
fn of_notes(at: u32) -> Option<(u32, u32)> {
    let from = at.checked_sub(NOTES.at).filter(|from| *from < 2 * SLOT)?;
    Some((BEGIN + SECTOR * (1 + from / SLOT), from % SLOT))
}

impl Memory for Flash {
    type Error = Wrong;

    fn read(&mut self, at: u32, bytes: &mut [u8]) -> Result<(), Wrong> {
        let from = of_notes(at).map_or(BEGIN + at, |(sector, place)| sector + place);
        ReadNorFlash::read(&mut self.0, from, bytes).map_err(|_| Wrong::Flash)
    }

    fn write(&mut self, at: u32, bytes: &[u8]) -> Result<(), Wrong> {
        let (sector, 0) = of_notes(at).ok_or(Wrong::NotOurs)? else { return Err(Wrong::NotOurs) };
        let mut slot = [0xff; BYTES];
        slot.get_mut(..bytes.len()).ok_or(Wrong::NotOurs)?.copy_from_slice(bytes);
        NorFlash::erase(&mut self.0, sector, sector + SECTOR).map_err(|_| Wrong::Flash)?;
        NorFlash::write(&mut self.0, sector, &slot).map_err(|_| Wrong::Flash)
    }
}
