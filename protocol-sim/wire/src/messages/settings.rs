//! Settings: the image read in chunks, and written as a transaction. What an image holds: see [`crate::image`].

/// SHA-256 (FIPS 180-4) of a settings image.
pub type Digest = [u8; 32];

message! {
    /// What settings the device holds.
    Manifest<'a> {
        /// Number of this set: greater after every change, however it came about.
        0 => revision: u64,
        /// Length of the image, bytes.
        1 => length: u32,
        /// SHA-256 of the image.
        2 => digest: Digest,
        /// Name of the schema that the items follow, as the maker names it.
        3 => schema: &'a str,
    }
}
message! {
    /// Asks for a part of the image.
    SettingsRead {
        /// The revision that is meant; refused with [`crate::RefusalCode::Revision`] when it is not the present one.
        0 => revision: u64,
        /// Where the part begins, bytes.
        1 => offset: u32,
        /// Length wanted, bytes, 1 to [`crate::Capabilities::chunk_max`].
        2 => length: u16,
    }
}
message! {
    /// A part of the image. Shorter than wanted only at the image's end.
    SettingsPart<'a> {
        /// Where the part begins, bytes.
        0 => offset: u32,
        /// The bytes.
        1 => bytes: &'a [u8],
    }
}
message! {
    /// Begins to write a whole new image. Refused when the device's revision is another, or a transaction is open.
    WriteBegin {
        /// The revision that the new image replaces.
        0 => base_revision: u64,
        /// Length of the new image, bytes.
        1 => length: u32,
        /// SHA-256 of the new image.
        2 => digest: Digest,
    }
}
message! {
    /// A transaction is open.
    WriteBegun {
        /// Number of the transaction; never that of another since boot.
        0 => transaction: u32,
    }
}
message! {
    /// The next part of the new image.
    WriteChunk<'a> {
        /// The transaction.
        0 => transaction: u32,
        /// Where the part begins, bytes: what the device has received so far.
        1 => offset: u32,
        /// The bytes, 1 to [`crate::Capabilities::chunk_max`].
        2 => bytes: &'a [u8],
    }
}
message! {
    /// The part is in.
    WriteProgress {
        /// Bytes of the new image received so far.
        0 => received: u32,
    }
}
message! {
    /// Puts the new image in the place of the old, whole, or refuses and keeps the old, whole.
    WriteCommit {
        /// The transaction.
        0 => transaction: u32,
        /// SHA-256 of the new image, once more.
        1 => digest: Digest,
    }
}
message! {
    /// The new image is in force.
    WriteCommitted {
        /// The revision that it has.
        0 => revision: u64,
    }
}
message! {
    /// Where writing stands.
    WriteStatus {
        /// Revision in force.
        0 => revision: u64,
        /// The open transaction, if there is one.
        1 => open: Option<OpenTransaction>,
    }
}
message! {
    /// A transaction begun and neither committed nor abandoned. A restart of the device abandons it.
    OpenTransaction {
        /// Its number.
        0 => transaction: u32,
        /// Bytes received so far.
        1 => received: u32,
        /// Length of the new image, bytes.
        2 => length: u32,
        /// SHA-256 of the new image.
        3 => digest: Digest,
    }
}
message! {
    /// Gives a transaction up; the old image stays.
    WriteAbandon {
        /// The transaction.
        0 => transaction: u32,
    }
}
