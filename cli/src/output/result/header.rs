//! Fields of an HDF5 file that are read or changed in place, one small write each: the library has no call for them.
//!
//! Version 2 object headers, as the HDF5 File Format Specification 3.0 has them in section IV.A.1.b; version 2 and 3
//! superblocks, section II.A.

use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom, Write};
use std::ops::Range;

use hdf5::format::FormatContext;
use hdf5::format::checksum::checksum_metadata;
use hdf5::format::messages::attribute::AttributeMessage;
use hdf5::format::messages::continuation::ContinuationMessage;
use hdf5::format::messages::{MSG_ATTRIBUTE, MSG_DATASPACE, MSG_OBJ_HEADER_CONTINUATION};
use hdf5::format::superblock::SuperblockV2V3;

/// Chunks of a header that are followed, so that a damaged file cannot keep the reader in an endless loop.
const MOST_CHUNKS: usize = 1000;

/// Largest chunk that is read, bytes.
const LARGEST_CHUNK: u64 = 1 << 24;

fn damaged(what: &str) -> io::Error {
    io::Error::new(io::ErrorKind::InvalidData, what.to_owned())
}

fn read(mut file: &File, at: u64, length: u64) -> io::Result<Vec<u8>> {
    file.seek(SeekFrom::Start(at))?;
    let mut bytes = Vec::new();
    file.take(length.min(LARGEST_CHUNK)).read_to_end(&mut bytes)?;
    Ok(bytes)
}

fn write(mut file: &File, at: u64, bytes: &[u8]) -> io::Result<()> {
    file.seek(SeekFrom::Start(at))?;
    file.write_all(bytes)
}

/// The superblock, which states where everything begins and where the file ends.
pub(super) struct Superblock(SuperblockV2V3);

impl Superblock {
    pub(super) fn read(file: &File) -> io::Result<Self> {
        let start = read(file, 0, 256)?;
        SuperblockV2V3::decode(&start).map(Self).map_err(|e| damaged(&format!("superblock: {e}")))
    }

    /// Records a new end of the file.
    pub(super) fn set_end(&mut self, file: &File, end: u64) -> io::Result<()> {
        self.0.end_of_file_address = end;
        write(file, 0, &self.0.encode())
    }

    fn context(&self) -> FormatContext {
        FormatContext { sizeof_addr: self.0.sizeof_offsets, sizeof_size: self.0.sizeof_lengths }
    }

    /// The root group's header.
    pub(super) fn root(&self, file: &File) -> io::Result<Header> {
        self.header(file, self.0.root_group_object_header_address)
    }

    /// The object header at the address.
    pub(super) fn header(&self, file: &File, address: u64) -> io::Result<Header> {
        let context = self.context();
        let mut chunks = vec![Chunk::first(file, address)?];
        let mut next = 0;
        while let Some(chunk) = chunks.get(next) {
            let further: Vec<_> = chunk.of_kind(MSG_OBJ_HEADER_CONTINUATION).collect();
            let prefix = chunk.prefix;
            for body in further {
                let body = &chunks[next].bytes[body];
                let decoded = ContinuationMessage::decode(body, &context);
                let (to, _) = decoded.map_err(|e| damaged(&format!("object header: {e}")))?;
                chunks.push(Chunk::further(file, to.offset, to.length, prefix)?);
            }
            next += 1;
            if chunks.len() > MOST_CHUNKS {
                return Err(damaged("object header without an end"));
            }
        }
        Ok(Header { chunks, context })
    }
}

/// An object header: messages in chunks, each with a checksum of its own.
pub(super) struct Header {
    chunks: Vec<Chunk>,
    context: FormatContext,
}

impl Header {
    fn find(&self, name: &str) -> Option<(&Chunk, Range<usize>, AttributeMessage)> {
        self.chunks.iter().find_map(|chunk| {
            chunk.of_kind(MSG_ATTRIBUTE).find_map(|body| {
                let (found, _) = AttributeMessage::decode(&chunk.bytes[body.clone()], &self.context).ok()?;
                (found.name == name).then_some((chunk, body, found))
            })
        })
    }

    /// The value of an attribute that holds one or more numbers of eight bytes.
    pub(super) fn attribute(&self, name: &str) -> Option<Vec<u64>> {
        let (_, _, found) = self.find(name)?;
        let (numbers, rest) = found.data.as_chunks::<8>();
        rest.is_empty().then(|| numbers.iter().map(|&bytes| u64::from_le_bytes(bytes)).collect())
    }

    /// The attribute's value as a field that can be changed.
    pub(super) fn attribute_field(&self, name: &str) -> Option<Field> {
        let (chunk, body, found) = self.find(name)?;
        // A message ends with its value.
        (found.data.len() == 8).then(|| chunk.field(body.end - 8))
    }

    /// The dataset's length along its first axis as a field that can be changed.
    pub(super) fn length_field(&self) -> Option<Field> {
        let holds_space = |chunk: &Chunk| chunk.of_kind(MSG_DATASPACE).next();
        let (chunk, body) = self.chunks.iter().find_map(|c| holds_space(c).map(|body| (c, body)))?;
        // Version, rank, flags and type come first, a byte each (section IV.A.2.b).
        let [version, rank, _, _] = *chunk.bytes[body.clone()].first_chunk()?;
        (version == 2 && rank > 0 && self.context.sizeof_size == 8).then(|| chunk.field(body.start + 4))
    }
}

/// A chunk of an object header, from its signature to its checksum.
struct Chunk {
    at: u64,
    bytes: Vec<u8>,
    /// Where the messages are.
    messages: Range<usize>,
    /// Length of what stands before each message's body: kind, size in two bytes, flags, and where tracked the order
    /// in two bytes.
    prefix: usize,
}

impl Chunk {
    fn first(file: &File, at: u64) -> io::Result<Self> {
        let start = read(file, at, 64)?;
        let short = || damaged("object header: cut off");
        let flags = match *start.first_chunk::<6>().ok_or_else(short)? {
            [b'O', b'H', b'D', b'R', 2, flags] => flags,
            _ => return Err(damaged("object header: no version 2 signature")),
        };
        let times = if flags & 0x20 == 0 { 0 } else { 16 };
        let thresholds = if flags & 0x10 == 0 { 0 } else { 4 };
        let size_at = 6 + times + thresholds;
        let width = 1 << (flags & 0x03);
        let mut size = [0; 8];
        size[..width].copy_from_slice(start.get(size_at..size_at + width).ok_or_else(short)?);
        let begin = size_at + width;
        let size = u64::from_le_bytes(size).min(LARGEST_CHUNK) as usize;
        let prefix = if flags & 0x04 == 0 { 4 } else { 6 };
        Self::checked(read(file, at, (begin + size + 4) as u64)?, at, begin..begin + size, prefix)
    }

    fn further(file: &File, at: u64, length: u64, prefix: usize) -> io::Result<Self> {
        let length = length.min(LARGEST_CHUNK);
        let bytes = read(file, at, length)?;
        if !bytes.starts_with(b"OCHK") || length < 8 {
            return Err(damaged("object header: no continuation"));
        }
        Self::checked(bytes, at, 4..length as usize - 4, prefix)
    }

    fn checked(bytes: Vec<u8>, at: u64, messages: Range<usize>, prefix: usize) -> io::Result<Self> {
        let checksum = bytes.get(messages.end..messages.end + 4);
        if checksum != Some(&checksum_metadata(&bytes[..messages.end.min(bytes.len())]).to_le_bytes()) {
            return Err(damaged("object header: wrong checksum"));
        }
        Ok(Self { at, bytes, messages, prefix })
    }

    /// Where the bodies of the messages of a kind are.
    fn of_kind(&self, wanted: u8) -> impl Iterator<Item = Range<usize>> {
        let mut at = self.messages.start;
        std::iter::from_fn(move || {
            // A gap at the end is smaller than a prefix.
            let prefix = self.bytes[..self.messages.end].get(at..at + self.prefix)?;
            let size = usize::from(u16::from_le_bytes([prefix[1], prefix[2]]));
            let body = at + self.prefix..at + self.prefix + size;
            at = body.end;
            (body.end <= self.messages.end).then_some((prefix[0], body))
        })
        .filter_map(move |(kind, body)| (kind == wanted).then_some(body))
    }

    fn field(&self, at: usize) -> Field {
        Field { at: self.at, bytes: self.bytes[..self.messages.end + 4].to_vec(), offset: at }
    }
}

/// A number of eight bytes within a chunk of an object header.
pub(super) struct Field {
    at: u64,
    bytes: Vec<u8>,
    offset: usize,
}

impl Field {
    /// Changes the number, and the checksum with it, in one write.
    pub(super) fn set(&mut self, file: &File, value: u64) -> io::Result<()> {
        self.bytes[self.offset..self.offset + 8].copy_from_slice(&value.to_le_bytes());
        let end = self.bytes.len() - 4;
        let checksum = checksum_metadata(&self.bytes[..end]);
        self.bytes[end..].copy_from_slice(&checksum.to_le_bytes());
        write(file, self.at, &self.bytes)
    }
}
