//! Bounded little-endian cursors over byte slices, and text fields of fixed size.

use core::fmt;

/// A text field on the wire: UTF-8, at most `N` bytes, padded with NUL.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
pub struct Text<const N: usize> {
    bytes: [u8; N],
    len: u8,
}

impl<const N: usize> Text<N> {
    /// The longest prefix of `text` that fits in `N` bytes, cut at a character boundary and at the first NUL.
    pub fn new(text: &str) -> Self {
        let text = text.split('\0').next().unwrap_or("");
        let mut end = text.len().min(N).min(255);
        while !text.is_char_boundary(end) {
            end -= 1;
        }
        let mut bytes = [0; N];
        bytes[..end].copy_from_slice(&text.as_bytes()[..end]);
        Self { bytes, len: end as u8 }
    }

    /// Reads a padded field. `None` when it is not UTF-8 or has bytes after its first NUL.
    pub fn from_padded(field: &[u8; N]) -> Option<Self> {
        let len = field.iter().position(|&b| b == 0).unwrap_or(N);
        if field[len..].iter().any(|&b| b != 0) {
            return None;
        }
        core::str::from_utf8(&field[..len]).ok()?;
        Some(Self { bytes: *field, len: len as u8 })
    }

    /// The text.
    pub fn as_str(&self) -> &str {
        core::str::from_utf8(&self.bytes[..usize::from(self.len)]).unwrap_or("")
    }

    /// The field as it goes on the wire, NUL-padded.
    pub fn as_padded(&self) -> &[u8; N] {
        &self.bytes
    }
}

impl<const N: usize> fmt::Debug for Text<N> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Debug::fmt(self.as_str(), f)
    }
}

impl<const N: usize> fmt::Display for Text<N> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}

/// Reads little-endian fields from a slice; every read is bounded, `None` past the end.
#[derive(Clone, Copy, Debug)]
pub struct Reader<'a> {
    rest: &'a [u8],
}

impl<'a> Reader<'a> {
    /// Starts at the first byte.
    pub fn new(bytes: &'a [u8]) -> Self {
        Self { rest: bytes }
    }

    /// The next `n` bytes.
    pub fn take(&mut self, n: usize) -> Option<&'a [u8]> {
        let (head, rest) = self.rest.split_at_checked(n)?;
        self.rest = rest;
        Some(head)
    }

    /// The next `N` bytes as an array.
    pub fn array<const N: usize>(&mut self) -> Option<[u8; N]> {
        let (head, rest) = self.rest.split_first_chunk::<N>()?;
        self.rest = rest;
        Some(*head)
    }

    /// Next byte.
    pub fn u8(&mut self) -> Option<u8> {
        self.array::<1>().map(|b| b[0])
    }

    /// Next 16-bit unsigned integer.
    pub fn u16(&mut self) -> Option<u16> {
        self.array().map(u16::from_le_bytes)
    }

    /// Next 32-bit unsigned integer.
    pub fn u32(&mut self) -> Option<u32> {
        self.array().map(u32::from_le_bytes)
    }

    /// Next 32-bit signed integer.
    pub fn i32(&mut self) -> Option<i32> {
        self.array().map(i32::from_le_bytes)
    }

    /// Next 64-bit unsigned integer.
    pub fn u64(&mut self) -> Option<u64> {
        self.array().map(u64::from_le_bytes)
    }

    /// Next IEEE 754 binary64; `None` also when it is not finite.
    pub fn f64(&mut self) -> Option<f64> {
        self.array().map(f64::from_le_bytes).filter(|v| v.is_finite())
    }

    /// Next padded text field.
    pub fn text<const N: usize>(&mut self) -> Option<Text<N>> {
        Text::from_padded(&self.array::<N>()?)
    }

    /// What has not been read yet.
    pub fn rest(&self) -> &'a [u8] {
        self.rest
    }

    /// `Some(())` when everything has been read.
    pub fn finish(&self) -> Option<()> {
        self.rest.is_empty().then_some(())
    }
}

/// Writes little-endian fields into a slice; every write is bounded, `None` past the end.
#[derive(Debug)]
pub struct Writer<'a> {
    out: &'a mut [u8],
    len: usize,
}

impl<'a> Writer<'a> {
    /// Starts at the first byte of `out`.
    pub fn new(out: &'a mut [u8]) -> Self {
        Self { out, len: 0 }
    }

    /// Appends bytes as they are.
    pub fn bytes(&mut self, bytes: &[u8]) -> Option<()> {
        self.out.get_mut(self.len..self.len + bytes.len())?.copy_from_slice(bytes);
        self.len += bytes.len();
        Some(())
    }

    /// Appends a byte.
    pub fn u8(&mut self, v: u8) -> Option<()> {
        self.bytes(&[v])
    }

    /// Appends a 16-bit unsigned integer.
    pub fn u16(&mut self, v: u16) -> Option<()> {
        self.bytes(&v.to_le_bytes())
    }

    /// Appends a 32-bit unsigned integer.
    pub fn u32(&mut self, v: u32) -> Option<()> {
        self.bytes(&v.to_le_bytes())
    }

    /// Appends a 32-bit signed integer.
    pub fn i32(&mut self, v: i32) -> Option<()> {
        self.bytes(&v.to_le_bytes())
    }

    /// Appends a 64-bit unsigned integer.
    pub fn u64(&mut self, v: u64) -> Option<()> {
        self.bytes(&v.to_le_bytes())
    }

    /// Appends an IEEE 754 binary64.
    pub fn f64(&mut self, v: f64) -> Option<()> {
        self.bytes(&v.to_le_bytes())
    }

    /// Appends a padded text field.
    pub fn text<const N: usize>(&mut self, v: &Text<N>) -> Option<()> {
        self.bytes(v.as_padded())
    }

    /// Bytes written so far.
    pub fn len(&self) -> usize {
        self.len
    }

    /// Whether nothing has been written.
    pub fn is_empty(&self) -> bool {
        self.len == 0
    }
}
