//! Reads and writes uncompressed single-band GeoTIFF in bands of rows, so that whole-process times show the methods.
//!
//! Only what the benches need: little-endian classic TIFF, 32-bit numbers, strips one after the other.
//! Layout: Adobe TIFF 6.0; geographic tags (OGC 19-008r4) are copied unread.

use std::fs::File;
use std::io::{Error, Read, Result, Seek, SeekFrom, Write};
use std::os::unix::fs::FileExt;

/// Tags that say where the grid lies and which number means "no value"; copied to outputs.
const COPIED: [u16; 6] = [33_550, 33_922, 34_735, 34_736, 34_737, 42_113];

/// An open input.
pub struct PlainTif {
    file: File,
    data_at: u64,
    pub rows: usize,
    pub cols: usize,
    pub cell_m: f64,
    pub nodata: Option<f32>,
    copied: Vec<(u16, u16, u32, Vec<u8>)>,
}

fn bad(what: &str) -> Error {
    Error::other(format!("not an uncompressed 32-bit float GeoTIFF: {what}"))
}

impl PlainTif {
    pub fn open(path: &str) -> Result<Self> {
        let mut file = File::open(path)?;
        let mut head = [0; 8];
        file.read_exact(&mut head)?;
        if &head[..4] != b"II*\0" {
            return Err(bad("byte order or version"));
        }
        let ifd_at = u64::from(u32::from_le_bytes([head[4], head[5], head[6], head[7]]));
        file.seek(SeekFrom::Start(ifd_at))?;
        let mut count = [0; 2];
        file.read_exact(&mut count)?;
        let mut entries = vec![0; usize::from(u16::from_le_bytes(count)) * 12];
        file.read_exact(&mut entries)?;
        let mut tags = Vec::new();
        for entry in entries.chunks_exact(12) {
            let tag = u16::from_le_bytes([entry[0], entry[1]]);
            let kind = u16::from_le_bytes([entry[2], entry[3]]);
            let n = u32::from_le_bytes([entry[4], entry[5], entry[6], entry[7]]);
            let size = n as usize
                * match kind {
                    1 | 2 => 1,
                    3 => 2,
                    12 => 8,
                    _ => 4,
                };
            let mut bytes = entry[8..12].to_vec();
            if size > 4 {
                bytes.resize(size, 0);
                file.read_exact_at(
                    &mut bytes,
                    u64::from(u32::from_le_bytes([entry[8], entry[9], entry[10], entry[11]])),
                )?;
            }
            tags.push((tag, kind, n, bytes));
        }
        Self::from_tags(file, tags)
    }

    fn from_tags(file: File, tags: Vec<(u16, u16, u32, Vec<u8>)>) -> Result<Self> {
        let numbers = |tag: u16| -> Vec<u64> {
            tags.iter()
                .filter(|t| t.0 == tag)
                .flat_map(|(_, kind, n, bytes)| {
                    let width = if *kind == 3 { 2 } else { 4 };
                    bytes
                        .chunks_exact(width)
                        .take(*n as usize)
                        .map(|c| c.iter().rev().fold(0, |v, b| v * 256 + u64::from(*b)))
                        .collect::<Vec<_>>()
                })
                .collect()
        };
        let one = |tag: u16, otherwise: u64| numbers(tag).first().copied().unwrap_or(otherwise);
        if one(259, 1) != 1 || one(258, 1) != 32 || one(277, 1) != 1 || one(339, 1) != 3 {
            return Err(bad("compression, bits, bands or sample format"));
        }
        let (offsets, sizes) = (numbers(273), numbers(279));
        let data_at = *offsets.first().ok_or_else(|| bad("no strips"))?;
        let mut end = data_at;
        for (at, size) in offsets.iter().zip(&sizes) {
            if *at != end {
                return Err(bad("strips are not one after the other"));
            }
            end += size;
        }
        let scale = tags.iter().find(|t| t.0 == 33_550).ok_or_else(|| bad("no pixel scale"))?;
        let nodata = tags
            .iter()
            .find(|t| t.0 == 42_113)
            .and_then(|t| String::from_utf8_lossy(&t.3).trim_matches(['\0', ' ']).parse().ok());
        let cell_m = scale.3[..8].try_into().map(f64::from_le_bytes).map_err(|_| bad("pixel scale"))?;
        let (rows, cols) = (one(257, 0) as usize, one(256, 0) as usize);
        let copied = tags.into_iter().filter(|t| COPIED.contains(&t.0)).collect();
        Ok(Self { file, data_at, rows, cols, cell_m, nodata, copied })
    }

    /// Heights of some rows.
    pub fn read_rows(&self, first: usize, rows: usize) -> Result<Vec<f32>> {
        let mut bytes = vec![0; rows * self.cols * 4];
        self.file.read_exact_at(&mut bytes, self.data_at + (first * self.cols * 4) as u64)?;
        Ok(bytes.chunks_exact(4).map(|c| f32::from_le_bytes([c[0], c[1], c[2], c[3]])).collect())
    }

    /// An output of the same place and size.
    pub fn create_like(&self, path: &str, sample_format: u16) -> Result<PlainOut> {
        PlainOut::create(path, self.rows, self.cols, sample_format, &self.copied)
    }
}

/// An open output.
pub struct PlainOut {
    file: File,
    data_at: u64,
    cols: usize,
}

impl PlainOut {
    /// `sample_format`: 1 whole numbers, 3 floating point; 32 bits both.
    pub fn create(
        path: &str,
        rows: usize,
        cols: usize,
        sample_format: u16,
        more: &[(u16, u16, u32, Vec<u8>)],
    ) -> Result<Self> {
        let long = |tag: u16, v: usize| (tag, 4_u16, 1_u32, (v as u32).to_le_bytes().to_vec());
        let short = |tag: u16, v: u16| (tag, 3_u16, 1_u32, [v.to_le_bytes(), [0, 0]].concat());
        let mut tags: Vec<(u16, u16, u32, Vec<u8>)> = vec![
            long(256, cols),
            long(257, rows),
            short(258, 32),
            short(259, 1),
            short(262, 1),
            long(273, 0),
            short(277, 1),
            long(278, rows),
            long(279, rows * cols * 4),
            short(339, sample_format),
        ];
        tags.extend(more.iter().cloned());
        let data_at =
            8 + 2 + 12 * tags.len() + 4 + tags.iter().map(|t| if t.3.len() > 4 { t.3.len() } else { 0 }).sum::<usize>();
        let data_at = data_at.next_multiple_of(16);
        tags[5] = long(273, data_at);
        let mut head = b"II*\0\x08\0\0\0".to_vec();
        head.extend((tags.len() as u16).to_le_bytes());
        let mut more_at = 8 + 2 + 12 * tags.len() + 4;
        let mut rest: Vec<u8> = Vec::new();
        for (tag, kind, n, bytes) in &tags {
            head.extend([tag.to_le_bytes(), kind.to_le_bytes()].concat());
            head.extend(n.to_le_bytes());
            if bytes.len() > 4 {
                head.extend((more_at as u32).to_le_bytes());
                more_at += bytes.len();
                rest.extend(bytes);
            } else {
                head.extend(bytes);
                head.resize(head.len() + 4 - bytes.len(), 0);
            }
        }
        head.extend([0; 4]);
        head.extend(rest);
        head.resize(data_at, 0);
        let mut file = File::create(path)?;
        file.write_all(&head)?;
        Ok(Self { file, data_at: data_at as u64, cols })
    }

    /// Writes whole rows from row `first` on, given as little-endian bytes of four to a cell.
    pub fn write_rows(&self, first: usize, bytes: &[u8]) -> Result<()> {
        self.file.write_all_at(bytes, self.data_at + (first * self.cols * 4) as u64)
    }
}
