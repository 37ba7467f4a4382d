//! Consistent Overhead Byte Stuffing (S. Cheshire and M. Baker, IEEE/ACM Transactions on Networking 7(2), 1999):
//! the bytes of a frame without any 0x00 among them, so that 0x00 can only be a delimiter.
//!
//! Both directions stream: the stuffer back-patches its own output, the unstuffer takes pieces of any size and gives
//! pieces, kept wherever the caller keeps them. Not here: delimiters and frames (see [`crate::Decoder`]).

/// The frame delimiter.
pub const DELIMITER: u8 = 0x00;

/// Most bytes that `len` bytes can become when stuffed (delimiters not counted).
pub const fn max_stuffed(len: usize) -> usize {
    len + len / 254 + 1
}

/// Writes stuffed bytes into a buffer.
#[derive(Debug)]
pub struct Stuffer<'o> {
    out: &'o mut [u8],
    code_at: usize,
    len: usize,
    overflow: bool,
}
impl<'o> Stuffer<'o> {
    /// Stuffs into `out`, from its start.
    pub fn new(out: &'o mut [u8]) -> Self {
        let overflow = out.is_empty();
        Self { out, code_at: 0, len: 1, overflow }
    }
    fn put(&mut self, at: usize, byte: u8) {
        match self.out.get_mut(at) {
            Some(slot) => *slot = byte,
            None => self.overflow = true,
        }
    }
    fn close_block(&mut self) {
        // A block is at most 255 bytes with its code, which the callers keep to.
        self.put(self.code_at, (self.len - self.code_at) as u8);
        self.code_at = self.len;
        self.len += 1;
    }
    /// Stuffs more bytes.
    pub fn push(&mut self, bytes: &[u8]) {
        for &byte in bytes {
            // A full block is closed only when more follows: a frame never ends in an empty block of its own.
            if self.len - self.code_at == 0xFF {
                self.close_block();
            }
            if byte == 0 {
                self.close_block();
            } else {
                self.put(self.len, byte);
                self.len += 1;
            }
        }
    }
    /// Ends the frame. The stuffed length, or `None` if the buffer was too small.
    pub fn finish(mut self) -> Option<usize> {
        self.put(self.code_at, (self.len - self.code_at) as u8);
        (!self.overflow).then_some(self.len)
    }
}

/// Takes stuffed bytes as they come.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Unstuffer {
    /// Bytes of the current block still to come.
    left: u8,
    /// A zero is due before the next block.
    zero_due: bool,
}
impl Unstuffer {
    /// Before the first byte of a frame.
    pub const START: Self = Self { left: 0, zero_due: false };

    /// Takes some bytes off the front of `stuffed` and gives the plain bytes that they stand for, perhaps none. Call until
    /// `stuffed` is empty; there must be no delimiter in it.
    #[must_use]
    pub fn next_piece<'a>(&mut self, stuffed: &mut &'a [u8]) -> &'a [u8] {
        if self.left > 0 {
            let (piece, rest) = stuffed.split_at_checked(self.left.into()).unwrap_or((stuffed, &[]));
            // No longer than a block is, or than what was left of it.
            self.left -= piece.len() as u8;
            *stuffed = rest;
            return piece;
        }
        let Some((&code, rest)) = stuffed.split_first() else { return &[] };
        *stuffed = rest;
        self.left = code.saturating_sub(1);
        if core::mem::replace(&mut self.zero_due, code != 0xFF) { &[0] } else { &[] }
    }
    /// True where a frame may end: after a whole block.
    pub const fn may_end(&self) -> bool {
        self.left == 0
    }
}
