//! The chip's Ethernet controller, for embassy's network stack.
use core::task::Context;

use embassy_net_driver::{Capabilities, Driver, HardwareAddress, LinkState, RxToken, TxToken};
use embassy_sync::waitqueue::AtomicWaker;

use crate::registers::{
    MAC_ADDRESS_HIGH, MAC_ADDRESS_LOW, MAC_DATA, MAC_MASK, MAC_RX, MAC_SEND, MAC_STATUS, MAC_TX, MAC_WAITING,
};

/// Its interrupt.
pub const IRQ: i16 = 42;
const RX: u32 = 1;
const ALL: u32 = 0x7f;
/// Largest frame, without its check.
const FRAME: usize = 1514;
/// Bytes of a frame before its payload.
const HEAD: usize = 14;

static WAKER: AtomicWaker = AtomicWaker::new();

/// The controller.
pub struct Ethernet(());

impl Ethernet {
    /// Switches it on.
    pub fn begin() -> Self {
        MAC_RX.write(0x10);
        MAC_STATUS.write(ALL);
        // Send; pad short frames, add the check, both directions at once.
        MAC_TX.write(0x17);
        MAC_RX.write(1 | 2);
        MAC_MASK.write(RX);
        Self(())
    }

    /// Its address.
    pub fn address() -> [u8; 6] {
        let ([a, b, c, d], [e, f, ..]) = (MAC_ADDRESS_LOW.read().to_le_bytes(), MAC_ADDRESS_HIGH.read().to_le_bytes());
        [a, b, c, d, e, f]
    }
}

/// To be called in its interrupt: it stays quiet until all that came was taken.
pub fn interrupt() {
    MAC_MASK.write(0);
    MAC_STATUS.write(ALL);
    WAKER.wake();
}

fn waiting() -> bool {
    MAC_WAITING.read() & 0x3f != 0
}

impl Driver for Ethernet {
    type RxToken<'a> = Frame;
    type TxToken<'a> = Frame;

    fn receive(&mut self, context: &mut Context<'_>) -> Option<(Frame, Frame)> {
        if !waiting() {
            WAKER.register(context.waker());
            MAC_STATUS.write(ALL);
            MAC_MASK.write(RX);
            // One may have come in between.
            if !waiting() {
                return None;
            }
        }
        Some((Frame, Frame))
    }

    fn transmit(&mut self, _: &mut Context<'_>) -> Option<Frame> {
        (MAC_SEND.read() & 1 == 0).then_some(Frame)
    }

    /// The emulator has no line to look at: that it is cut shows in the broker's silence.
    fn link_state(&mut self, _: &mut Context<'_>) -> LinkState {
        LinkState::Up
    }

    fn capabilities(&self) -> Capabilities {
        let mut capabilities = Capabilities::default();
        capabilities.max_transmission_unit = FRAME;
        capabilities.max_burst_size = Some(1);
        capabilities
    }

    fn hardware_address(&self) -> HardwareAddress {
        HardwareAddress::Ethernet(Self::address())
    }
}

/// One frame, on its way in or out.
pub struct Frame;

impl RxToken for Frame {
    fn consume<R, F: FnOnce(&mut [u8]) -> R>(self, f: F) -> R {
        let mut frame = [0; FRAME];
        let [l0, l1, first @ ..] = MAC_DATA.read().to_le_bytes();
        // The length counts itself and the check of four bytes.
        let whole = usize::from(u16::from_le_bytes([l0, l1]));
        let bytes = whole.saturating_sub(6);
        let words = whole.div_ceil(4).saturating_sub(1);
        let rest = (0..words).flat_map(|_| MAC_DATA.read().to_le_bytes());
        for (i, byte) in first.into_iter().chain(rest).enumerate() {
            // The check, and what is longer than a frame may be, is read and dropped.
            if let Some(slot) = frame.get_mut(i).filter(|_| i < bytes) {
                *slot = byte;
            }
        }
        f(frame.get_mut(..bytes).unwrap_or_default())
    }
}

impl TxToken for Frame {
    fn consume<R, F: FnOnce(&mut [u8]) -> R>(self, len: usize, f: F) -> R {
        let mut frame = [0; FRAME];
        let bytes = frame.get_mut(..len).unwrap_or_default();
        let result = f(bytes);
        let payload = u16::try_from(bytes.len().saturating_sub(HEAD)).unwrap_or(0).to_le_bytes();
        let mut said = payload.into_iter().chain(bytes.iter().copied());
        while let Some(byte) = said.next() {
            let mut next = || said.next().unwrap_or(0);
            MAC_DATA.write(u32::from_le_bytes([byte, next(), next(), next()]));
        }
        MAC_SEND.write(1);
        result
    }
}
