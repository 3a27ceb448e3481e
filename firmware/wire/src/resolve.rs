//! Gathers the fields of one record, whatever their order, and resolves them against the pack's base.

use crate::field::Fields;
use crate::record::in_name;
use crate::{Data, Error, Field, Name, Record, Text, Unit, VERSION, Value, number};

/// One value as the pack spells it, before it is known whether its field may have it.
#[derive(Clone, Copy)]
pub(crate) enum Item<'a> {
    Number(f64),
    Text(Text<'a>),
    Bytes(&'a [u8]),
    Bool(bool),
    /// No finite number, and not one that a double could hold: `nan`, `inf`.
    NonFinite,
    /// Anything else.
    Bad,
}

/// The fields of one record as they stand there.
pub(crate) struct Draft<'a> {
    seen: Fields,
    /// Base fields that could not be read.
    broken: Fields,
    /// The first thing wrong with the record; reading went on, because base fields may follow.
    error: Option<Error>,
    name: Text<'a>,
    unit: Text<'a>,
    value: Value<'a>,
    sum: f64,
    time_s: f64,
    update_s: f64,
    base_name: Text<'a>,
    base_time_s: f64,
    base_unit: Text<'a>,
    base_value: f64,
    base_sum: f64,
    version: u64,
}

impl<'a> Draft<'a> {
    pub(crate) fn new() -> Self {
        Self {
            seen: Fields::default(),
            broken: Fields::default(),
            error: None,
            name: Text::plain(""),
            unit: Text::plain(""),
            value: Value::Bool(false),
            sum: 0.0,
            time_s: 0.0,
            update_s: 0.0,
            base_name: Text::plain(""),
            base_time_s: 0.0,
            base_unit: Text::plain(""),
            base_value: 0.0,
            base_sum: 0.0,
            version: VERSION,
        }
    }

    /// Notes what is wrong with the record; the first finding stays.
    pub(crate) fn fail(&mut self, error: Error) {
        self.error.get_or_insert(error);
    }

    /// Takes note of a field that is not known (RFC 8428, section 4.4: ignored unless its label ends in `_`).
    ///
    /// # Errors
    /// A base field that must be understood ends the pack: what it would have meant for later records is not known.
    pub(crate) fn unknown(&mut self, first: Option<u8>, last: Option<u8>) -> Result<(), Error> {
        match (first, last) {
            (Some(b'b'), Some(b'_')) => Err(Error::UnknownBase),
            (_, Some(b'_')) => {
                self.fail(Error::MustUnderstand);
                Ok(())
            }
            _ => Ok(()),
        }
    }

    pub(crate) fn put(&mut self, field: Field, item: Item<'a>) {
        let stored = if self.seen.insert(field) { self.store(field, item) } else { Err(Error::Duplicate(field)) };
        if let Err(error) = stored {
            self.fail(error);
            self.broken.insert(field);
        }
    }

    fn store(&mut self, field: Field, item: Item<'a>) -> Result<(), Error> {
        match field {
            Field::Name => self.name = text(field, item)?,
            Field::Unit => self.unit = text(field, item)?,
            Field::Value => self.value = Value::Float(finite(field, item)?),
            Field::Time => self.time_s = finite(field, item)?,
            Field::Text => self.value = Value::Text(text(field, item)?),
            Field::Bool => match item {
                Item::Bool(value) => self.value = Value::Bool(value),
                _ => return Err(Error::BadField(field)),
            },
            Field::Data => {
                let data = match item {
                    Item::Bytes(bytes) => Some(Data::plain(bytes)),
                    Item::Text(text) => Data::of_base64(text),
                    _ => None,
                };
                self.value = Value::Data(data.ok_or(Error::BadField(field))?);
            }
            Field::Sum => self.sum = finite(field, item)?,
            Field::UpdateTime => self.update_s = finite(field, item)?,
            Field::BaseName => self.base_name = text(field, item)?,
            Field::BaseTime => self.base_time_s = finite(field, item)?,
            Field::BaseUnit => self.base_unit = text(field, item)?,
            Field::BaseValue => self.base_value = finite(field, item)?,
            Field::BaseSum => self.base_sum = finite(field, item)?,
            Field::Version => self.version = version(finite(field, item)?)?,
        }
        Ok(())
    }

    fn optional(&self, field: Field, value: f64) -> Option<f64> {
        self.seen.has(field).then_some(value)
    }
}

fn text(field: Field, item: Item<'_>) -> Result<Text<'_>, Error> {
    match item {
        Item::Text(text) => Ok(text),
        _ => Err(Error::BadField(field)),
    }
}

fn finite(field: Field, item: Item<'_>) -> Result<f64, Error> {
    match item {
        Item::Number(number) if number.is_finite() => Ok(number),
        Item::Number(_) | Item::NonFinite => Err(Error::NonFinite(field)),
        _ => Err(Error::BadField(field)),
    }
}

fn version(number: f64) -> Result<u64, Error> {
    number::whole(number).filter(|&version| version > 0).ok_or(Error::BadVersion)
}

/// The base fields in force (RFC 8428, section 4.1): each from its record onward until replaced.
#[derive(Default)]
pub(crate) struct Base {
    name: Name,
    unit: Option<Unit>,
    time_s: Option<f64>,
    value: Option<f64>,
    sum: Option<f64>,
    /// That of the first record, be it the default: all records of a pack have the same.
    version: Option<u64>,
    broken: Fields,
}

impl Base {
    /// Takes over the base fields of `draft`, then resolves it.
    ///
    /// # Errors
    /// What is wrong with the record or, if [`Error::ends_pack`], with the version of the pack.
    pub(crate) fn apply<'a>(&mut self, mut draft: Draft<'a>) -> Result<Record<'a>, Error> {
        self.settle_version(&draft)?;
        if draft.seen.count_in(Fields::BASE) > 0 {
            self.absorb(&mut draft);
        }
        if let Some(error) = draft.error {
            return Err(error);
        }
        if !draft.seen.is_empty() && draft.seen.within(Fields::BASE) {
            return Err(Error::OnlyBase);
        }
        self.resolve(&draft)
    }

    fn settle_version(&mut self, draft: &Draft<'_>) -> Result<(), Error> {
        if draft.broken.has(Field::Version) {
            return Err(Error::BadVersion);
        }
        if draft.version > VERSION {
            return Err(Error::Version { found: draft.version });
        }
        let named = draft.seen.has(Field::Version);
        let version = *self.version.get_or_insert(draft.version);
        if named && draft.version != version { Err(Error::VersionMixed) } else { Ok(()) }
    }

    fn absorb(&mut self, draft: &mut Draft<'_>) {
        for field in [Field::BaseName, Field::BaseTime, Field::BaseUnit, Field::BaseValue, Field::BaseSum] {
            if !draft.seen.has(field) {
                continue;
            }
            let taken = if draft.broken.has(field) { Err(Error::BrokenBase(field)) } else { self.take(field, draft) };
            match taken {
                Ok(()) => self.broken.remove(field),
                Err(error) => {
                    self.broken.insert(field);
                    draft.fail(error);
                }
            }
        }
    }

    fn take(&mut self, field: Field, draft: &Draft<'_>) -> Result<(), Error> {
        match field {
            Field::BaseName => {
                self.name.clear();
                draft.base_name.append_to(&mut self.name).ok_or(Error::NameTooLong)?;
            }
            Field::BaseUnit => self.unit = Some(unit(draft.base_unit)?),
            Field::BaseTime => self.time_s = Some(draft.base_time_s),
            Field::BaseValue => self.value = Some(draft.base_value),
            Field::BaseSum => self.sum = Some(draft.base_sum),
            _ => {}
        }
        Ok(())
    }

    fn resolve<'a>(&self, draft: &Draft<'a>) -> Result<Record<'a>, Error> {
        let seen = draft.seen;
        let value = match seen.count_in(Fields::VALUES) {
            0 if seen.has(Field::Sum) => None,
            0 => return Err(Error::NoValue),
            1 => Some(self.value_of(draft)?),
            _ => return Err(Error::ManyValues),
        };
        let sum = self.add(Field::BaseSum, self.sum, draft.optional(Field::Sum, draft.sum))?;
        let time_s = self.add(Field::BaseTime, self.time_s, draft.optional(Field::Time, draft.time_s))?.unwrap_or(0.0);
        Ok(Record {
            name: self.name_of(draft)?,
            unit: self.unit_of(draft)?,
            value,
            sum,
            time_s,
            update_s: draft.optional(Field::UpdateTime, draft.update_s),
            had_base: seen.count_in(Fields::BASE) > 0,
        })
    }

    /// Returns the base, unless it is needed and could not be read.
    fn sound<T>(&self, field: Field, base: T) -> Result<T, Error> {
        if self.broken.has(field) { Err(Error::BrokenBase(field)) } else { Ok(base) }
    }

    /// Adds a base to a field; where one is missing it counts as zero (RFC 8428, sections 4.5.3 and 4.5.4).
    fn add(&self, field: Field, base: Option<f64>, own: Option<f64>) -> Result<Option<f64>, Error> {
        let total = match (self.sound(field, base)?, own) {
            (Some(base), Some(own)) => base + own,
            (Some(one), None) | (None, Some(one)) => one,
            (None, None) => return Ok(None),
        };
        if total.is_finite() { Ok(Some(total)) } else { Err(Error::NonFinite(field)) }
    }

    fn value_of<'a>(&self, draft: &Draft<'a>) -> Result<Value<'a>, Error> {
        match draft.value {
            Value::Float(own) => Ok(Value::Float(self.add(Field::BaseValue, self.value, Some(own))?.unwrap_or(own))),
            other => Ok(other),
        }
    }

    fn unit_of(&self, draft: &Draft<'_>) -> Result<Option<Unit>, Error> {
        if draft.seen.has(Field::Unit) {
            return unit(draft.unit).map(Some);
        }
        Ok(self.sound(Field::BaseUnit, self.unit.as_ref())?.cloned())
    }

    fn name_of(&self, draft: &Draft<'_>) -> Result<Name, Error> {
        let mut name = Name::new();
        name.push_str(self.sound(Field::BaseName, self.name.as_str())?).map_err(|_| Error::NameTooLong)?;
        draft.name.append_to(&mut name).ok_or(Error::NameTooLong)?;
        let bytes = name.as_bytes();
        match bytes.first() {
            None => Err(Error::NoName),
            Some(first) if first.is_ascii_alphanumeric() && bytes.iter().all(|&c| in_name(c)) => Ok(name),
            Some(_) => Err(Error::BadName),
        }
    }
}

fn unit(text: Text<'_>) -> Result<Unit, Error> {
    let mut unit = Unit::new();
    text.append_to(&mut unit).ok_or(Error::UnitTooLong)?;
    Ok(unit)
}
