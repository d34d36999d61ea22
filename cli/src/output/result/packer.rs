//! Packing chunks: shuffle and deflate as HDF5's filters of those names do, into buffers that are kept. The library
//! would make a new deflater for each chunk, whose 300 kB the system hands out and takes back every time: two thirds
//! of the writing thread's time.

use std::collections::BTreeMap;
use std::io;

use flate2::{Compress, Compression, FlushCompress, Status};

/// Deflaters by level, and the buffers.
#[derive(Default)]
pub(super) struct Packer {
    deflaters: BTreeMap<u8, Compress>,
    shuffled: Vec<u8>,
    packed: Vec<u8>,
}

impl Packer {
    /// Shuffles (the first bytes of all elements, then the second ones, …) and deflates; the packed chunk is filled
    /// up with zeros to a length divisible by eight. (The library keeps a list of the gaps before addresses divisible
    /// by eight, and searches it for every chunk; a deflated stream knows its own end.)
    pub(super) fn pack(&mut self, level: u8, element: usize, bytes: &[u8]) -> io::Result<&[u8]> {
        // By index: where this crate is built quickly, adapters of iterators are calls, and this takes each byte.
        self.shuffled.resize(bytes.len(), 0);
        let (shuffled, mut to) = (self.shuffled.as_mut_slice(), 0);
        for k in 0..element {
            let mut from = k;
            while from < bytes.len() {
                shuffled[to] = bytes[from];
                to += 1;
                from += element;
            }
        }
        let fresh = || Compress::new(Compression::new(u32::from(level)), true);
        let deflater = self.deflaters.entry(level).or_insert_with(fresh);
        deflater.reset();
        self.packed.clear();
        loop {
            self.packed.reserve(self.shuffled.len() / 2 + 64);
            let done = deflater.total_in() as usize;
            let status =
                deflater.compress_vec(&self.shuffled[done..], &mut self.packed, FlushCompress::Finish)?;
            if status == Status::StreamEnd {
                break;
            }
        }
        self.packed.resize(self.packed.len().next_multiple_of(8), 0);
        Ok(&self.packed)
    }
}

#[cfg(test)]
mod tests {
    use hdf5::FilterPipeline;
    use hdf5::format::messages::filter::reverse_filters;

    use super::*;

    #[test]
    fn the_library_unpacks_what_was_packed() {
        let mut packer = Packer::default();
        let mut noise = 1u64;
        for length in [8usize, 800, 32768] {
            // Nothing to gain, and everything to gain.
            let mut random = || {
                noise = noise.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
                (noise >> 56) as u8
            };
            for bytes in [(0..length).map(|_| random()).collect::<Vec<u8>>(), vec![7; length]] {
                let packed = packer.pack(1, 8, &bytes).unwrap().to_vec();
                assert_eq!(packed.len() % 8, 0);
                let pipeline = FilterPipeline::shuffle_deflate(8, 1);
                assert_eq!(reverse_filters(&pipeline, &packed).unwrap(), bytes);
            }
        }
    }
}
