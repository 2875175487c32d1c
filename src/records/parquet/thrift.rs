//! The headers inside a Parquet file, walked without allocating anything they
//! claim: what a page header says it holds is known before it is believed.
//!
//! The compact protocol of Apache Thrift; field numbers by Apache Parquet's
//! own definition, `parquet.thrift` of format 2.11.

/// How deep values may be nested; a table has two levels, lists four.
const DEEPEST: usize = 16;

/// Kinds of field of the compact protocol.
mod kind {
    pub(super) const TRUE: u8 = 1;
    pub(super) const FALSE: u8 = 2;
    pub(super) const BYTE: u8 = 3;
    pub(super) const I16: u8 = 4;
    pub(super) const I32: u8 = 5;
    pub(super) const I64: u8 = 6;
    pub(super) const DOUBLE: u8 = 7;
    pub(super) const BINARY: u8 = 8;
    pub(super) const LIST: u8 = 9;
    pub(super) const SET: u8 = 10;
    pub(super) const MAP: u8 = 11;
    pub(super) const STRUCT: u8 = 12;
}

/// Bytes and how far they are read.
#[derive(Debug, Clone, Copy)]
pub(super) struct Walk<'a> {
    bytes: &'a [u8],
    at: usize,
}

/// What one page says it holds.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(super) struct PageHeader {
    /// 0 data, 1 index, 2 dictionary, 3 data of the second kind.
    pub kind: i64,
    /// Bytes once unpacked, without this header.
    pub unpacked: i64,
    /// Bytes as they lie in the file, without this header.
    pub packed: i64,
    /// Values, blanks among them.
    pub values: i64,
    /// How the values are written.
    pub encoding: i64,
    /// Bytes before the packed part, in a page of the second kind.
    pub levels: i64,
    /// Whether it is packed at all, in a page of the second kind.
    pub is_packed: bool,
    /// Bytes of this header.
    pub size: usize,
}

impl<'a> Walk<'a> {
    pub(super) fn new(bytes: &'a [u8]) -> Self {
        Self { bytes, at: 0 }
    }

    fn byte(&mut self) -> Option<u8> {
        let byte = *self.bytes.get(self.at)?;
        self.at += 1;
        Some(byte)
    }

    fn pass(&mut self, count: u64) -> Option<()> {
        let end = self.at.checked_add(usize::try_from(count).ok()?)?;
        (end <= self.bytes.len()).then(|| self.at = end)
    }

    /// A number of seven bits a byte, the lowest first.
    fn varint(&mut self) -> Option<u64> {
        let mut value = 0u64;
        for shift in (0..64).step_by(7) {
            let byte = self.byte()?;
            value |= u64::from(byte & 0x7f) << shift;
            if byte & 0x80 == 0 {
                return Some(value);
            }
        }
        None
    }

    /// A whole number with its sign in the lowest bit.
    fn whole(&mut self) -> Option<i64> {
        let value = self.varint()?;
        Some((value >> 1) as i64 ^ -((value & 1) as i64))
    }

    /// The next field of a structure after the field `last`: its number and
    /// kind; `Some(None)` where the structure ends.
    fn field(&mut self, last: &mut i64) -> Option<Option<(i64, u8)>> {
        let head = self.byte()?;
        let kind = head & 0x0f;
        if kind == 0 {
            return Some(None);
        }
        *last = match head >> 4 {
            0 => self.whole()?,
            step => last.checked_add(i64::from(step))?,
        };
        Some(Some((*last, kind)))
    }

    /// How many elements a list has and of which kind.
    fn list(&mut self) -> Option<(u64, u8)> {
        let head = self.byte()?;
        let count = match head >> 4 {
            15 => self.varint()?,
            few => u64::from(few),
        };
        // Each takes a byte at least.
        (count <= (self.bytes.len() - self.at) as u64).then_some((count, head & 0x0f))
    }

    /// Passes over a value.
    fn skip(&mut self, kind: u8, depth: usize) -> Option<()> {
        if depth > DEEPEST {
            return None;
        }
        match kind {
            kind::TRUE | kind::FALSE => Some(()),
            kind::BYTE => self.pass(1),
            kind::I16 | kind::I32 | kind::I64 => self.varint().map(|_| ()),
            kind::DOUBLE => self.pass(8),
            kind::BINARY => {
                let length = self.varint()?;
                self.pass(length)
            }
            kind::LIST | kind::SET => {
                let (count, of) = self.list()?;
                (0..count).try_for_each(|_| self.element(of, depth))
            }
            kind::MAP => {
                let count = self.varint()?;
                if count == 0 {
                    return Some(());
                }
                let kinds = self.byte()?;
                (0..count).try_for_each(|_| {
                    self.element(kinds >> 4, depth)?;
                    self.element(kinds & 0x0f, depth)
                })
            }
            kind::STRUCT => {
                let mut last = 0;
                while let Some((_, kind)) = self.field(&mut last)? {
                    self.skip(kind, depth + 1)?;
                }
                Some(())
            }
            _ => None,
        }
    }

    /// Passes over an element of a list or map, where even a truth value takes
    /// a byte: no count is larger than the bytes that are there.
    fn element(&mut self, kind: u8, depth: usize) -> Option<()> {
        match kind {
            kind::TRUE | kind::FALSE => self.pass(1),
            kind => self.skip(kind, depth + 1),
        }
    }

    /// The header of a page; none where it is damaged.
    pub(super) fn page_header(&mut self) -> Option<PageHeader> {
        let start = self.at;
        let mut page = PageHeader {
            is_packed: true,
            ..PageHeader::default()
        };
        let mut last = 0;
        while let Some((field, kind)) = self.field(&mut last)? {
            match (field, kind) {
                (1, kind::I32) => page.kind = self.whole()?,
                (2, kind::I32) => page.unpacked = self.whole()?,
                (3, kind::I32) => page.packed = self.whole()?,
                // The headers of the kinds of page: data, dictionary, data of
                // the second kind.
                (5 | 7 | 8, kind::STRUCT) => self.inner(field, &mut page)?,
                (_, kind) => self.skip(kind, 0)?,
            }
        }
        page.size = self.at - start;
        Some(page)
    }

    fn inner(&mut self, of: i64, page: &mut PageHeader) -> Option<()> {
        let mut last = 0;
        while let Some((field, kind)) = self.field(&mut last)? {
            match (of, field, kind) {
                (_, 1, kind::I32) => page.values = self.whole()?,
                (5 | 7, 2, kind::I32) | (8, 4, kind::I32) => page.encoding = self.whole()?,
                (8, 5 | 6, kind::I32) => {
                    page.levels = page.levels.checked_add(self.whole()?)?;
                }
                (8, 7, kind::FALSE) => page.is_packed = false,
                (_, _, kind) => self.skip(kind, 1)?,
            }
        }
        Some(())
    }

    /// Walks a footer: none where it is damaged or its schema is no tree of
    /// sane depth with all its branches, which the decoder takes for granted.
    pub(super) fn footer(&mut self) -> Option<()> {
        let mut last = 0;
        while let Some((field, kind)) = self.field(&mut last)? {
            match (field, kind) {
                (2, kind::LIST) => self.schema()?,
                (_, kind) => self.skip(kind, 0)?,
            }
        }
        Some(())
    }

    fn schema(&mut self) -> Option<()> {
        let (count, of) = self.list()?;
        if of != kind::STRUCT {
            return None;
        }
        // How many children are still to come, by depth; the root first.
        let mut open: Vec<u64> = vec![1];
        for _ in 0..count {
            while open.last() == Some(&0) {
                open.pop();
            }
            *open.last_mut()? -= 1;
            let children = self.children()?;
            if children > count || open.len() > DEEPEST {
                return None;
            }
            if children > 0 {
                open.push(children);
            }
        }
        open.iter().all(|left| *left == 0).then_some(())
    }

    /// How many children an element of the schema has.
    fn children(&mut self) -> Option<u64> {
        let mut children = 0;
        let mut last = 0;
        while let Some((field, kind)) = self.field(&mut last)? {
            match (field, kind) {
                (5, kind::I32) => children = u64::try_from(self.whole()?).ok()?,
                (_, kind) => self.skip(kind, 0)?,
            }
        }
        Some(children)
    }
}
