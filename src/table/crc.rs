//! CRC-32 as in IEEE 802.3, gzip and PNG: polynomial 0x04C11DB7 reflected, start and end
//! inverted. Bit by bit, as the C header does it; a table is small.

/// A checksum in the making.
#[derive(Clone, Copy, Debug)]
pub struct Crc32(u32);

impl Crc32 {
    /// Of nothing yet.
    pub const fn new() -> Crc32 {
        Crc32(0xffff_ffff)
    }
    /// Takes in more bytes.
    pub fn update(&mut self, bytes: &[u8]) {
        for &byte in bytes {
            self.0 ^= u32::from(byte);
            for _ in 0..8 {
                let low = self.0 & 1;
                self.0 >>= 1;
                if low != 0 {
                    self.0 ^= 0xedb8_8320;
                }
            }
        }
    }
    /// The checksum of what was taken in.
    pub const fn value(self) -> u32 {
        !self.0
    }
}

#[cfg(test)]
mod tests {
    use super::Crc32;

    /// The check value that goes with the polynomial (PNG specification, annex on the CRC, has the
    /// algorithm; the value is from memory of the Rocksoft model's table of parameters).
    #[test]
    fn of_the_nine_digits() {
        let mut crc = Crc32::new();
        crc.update(b"1234");
        crc.update(b"56789");
        assert_eq!(crc.value(), 0xcbf4_3926);
    }
}
