//! The packs that node and daemon agree on: the link will, the receipt, and a pack's own header.

use crate::write::Format;
use crate::{Base, Entry, Error, Field, Name, PackWriter, Payload, Record, Value, WriteError, decode};

/// The last part of a name that says whether a node is connected.
const LINK: &str = "link";
/// The last part of a receipt's name.
const STORED: &str = "stored";
const SEQ: &str = "seq";
const BOOT: &str = "boot";
const FROM: &str = "from";

/// Splits a full name at its last `:` into the node and what the node calls the source; the node is empty where there
/// is no `:`.
#[must_use]
pub fn split_name(name: &str) -> (&str, &str) {
    name.rsplit_once(':').unwrap_or(("", name))
}

/// What a pack says of itself.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Header {
    /// The pack's number; without it there is no receipt.
    pub seq: Option<u64>,
    /// The node's start: grows at every one; 0 if not said.
    pub boot: u64,
    /// The oldest pack that the node still keeps.
    pub from: Option<u64>,
}

impl Header {
    /// Takes `record` if it is one of the header's (`seq`, `boot`, `from` of unit "count"); returns whether it was.
    ///
    /// # Errors
    /// [`Error::BadField`] if it is, but its value is no whole number from 0 to 2^53.
    pub fn take(&mut self, record: &Record<'_>) -> Result<bool, Error> {
        let (_, leaf) = split_name(&record.name);
        if record.unit.as_deref() != Some("count") || !matches!(leaf, SEQ | BOOT | FROM) {
            return Ok(false);
        }
        let count = record.count().ok_or(Error::BadField(Field::Value))?;
        match leaf {
            SEQ => self.seq = Some(count),
            BOOT => self.boot = count,
            _ => self.from = Some(count),
        }
        Ok(true)
    }
}

/// Appends `seq`, `boot` and `from`, as far as they are set, to a pack whose base name is the node's.
///
/// # Errors
/// [`WriteError::Full`] where they do not fit; what fitted stays, so reserve room by writing the header first.
pub fn write_header<F: Format>(
    pack: &mut PackWriter<'_, F>,
    base: &Base<'_>,
    header: &Header,
) -> Result<(), WriteError> {
    let boot = Some(header.boot).filter(|&boot| boot > 0);
    let counts = [(SEQ, header.seq), (BOOT, boot), (FROM, header.from)];
    let mut base = *base;
    for (name, value) in counts {
        if let Some(value) = value {
            pack.record_with(&base, &Entry::count(name, value)?)?;
            base = Base::default();
        }
    }
    Ok(())
}

/// Whether a node is connected.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Link {
    /// The node.
    pub node: Name,
    /// Whether it is there; `false` is its will.
    pub up: bool,
}

/// Writes the pack that says whether `node` is connected: `[{"bn":"oak-node:","n":"link","vb":false}]`.
///
/// # Errors
/// Why it could not be written.
pub fn write_link<'b, F: Format>(mut pack: PackWriter<'b, F>, node: &str, up: bool) -> Result<&'b [u8], WriteError> {
    let base_name = base_name(node)?;
    pack.record_with(&named(&base_name), &Entry::new(LINK, Payload::Bool(up)))?;
    Ok(pack.finish())
}

/// Finds what a pack says of a node's link; the last such record counts. `None` if there is none.
#[must_use]
pub fn read_link(bytes: &[u8]) -> Option<Link> {
    decode(bytes).filter_map(|record| link_of(&record.ok()?)).last()
}

fn link_of(record: &Record<'_>) -> Option<Link> {
    let (node, leaf) = split_name(&record.name);
    match record.value {
        Some(Value::Bool(up)) if leaf == LINK => Some(Link { node: Name::try_from(node).ok()?, up }),
        _ => None,
    }
}

/// Says that every pack of one start of a node, from the oldest it keeps up to one, was stored, or refused and counted.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Receipt {
    /// The node.
    pub node: Name,
    /// The last of the packs.
    pub stored: u64,
    /// The start they are of; 0 if not said.
    pub boot: u64,
}

/// Writes a receipt:
/// `[{"bn":"oak-node:","n":"stored","u":"count","v":1234},{"n":"boot","u":"count","v":7}]`.
///
/// # Errors
/// Why it could not be written.
pub fn write_receipt<'b, F: Format>(
    mut pack: PackWriter<'b, F>,
    node: &str,
    stored: u64,
    boot: u64,
) -> Result<&'b [u8], WriteError> {
    let base_name = base_name(node)?;
    pack.record_with(&named(&base_name), &Entry::count(STORED, stored)?)?;
    pack.record(&Entry::count(BOOT, boot)?)?;
    Ok(pack.finish())
}

/// Reads a receipt.
///
/// # Errors
/// Whatever is wrong anywhere in it: on a receipt that is only half sound a node may not throw packs away.
pub fn read_receipt(bytes: &[u8]) -> Result<Receipt, Error> {
    let (mut stored, mut boot) = (None, 0);
    for record in decode(bytes) {
        let record = record?;
        let (node, leaf) = split_name(&record.name);
        let count = || record.count().ok_or(Error::BadField(Field::Value));
        match leaf {
            STORED => stored = Some((Name::try_from(node).map_err(|_| Error::NameTooLong)?, count()?)),
            BOOT => boot = count()?,
            _ => {}
        }
    }
    let (node, stored) = stored.ok_or(Error::NoValue)?;
    Ok(Receipt { node, stored, boot })
}

fn base_name(node: &str) -> Result<Name, WriteError> {
    let mut base_name = Name::new();
    base_name.push_str(node).and_then(|()| base_name.push(':')).map_err(|_| WriteError::NameTooLong)?;
    Ok(base_name)
}

fn named(base_name: &Name) -> Base<'_> {
    Base { name: Some(base_name), ..Base::default() }
}
