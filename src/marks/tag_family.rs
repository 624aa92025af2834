//! The tag family 36h11: which of a tag's 6 x 6 inner modules are white, for all 587 codes.
//!
//! **Gives** the colour of each module. A code is written row by row from the upper left inner module, which is its
//! most significant bit; 1 is white. Any two codes in any two rotations differ in at least 11 modules.
//!
//! **Source**: table `codedata` of `tag36h11.c` in the BSD-2 `AprilTag` library (crate `apriltag-sys` 0.4.0), its bits
//! put from that file's spiral order (`bit_x`, `bit_y`) into rows. `OpenCV`'s dictionary `DICT_APRILTAG_36h11` holds
//! the same codes turned by 180 degrees, so a printed code does not tell which way is up.
//!
//! The table's licence:
//!
//! ```text
//! BSD 2-Clause License
//!
//! Copyright (C) 2013-2016, The Regents of The University of Michigan.
//! All rights reserved.
//!
//! Redistribution and use in source and binary forms, with or without
//! modification, are permitted provided that the following conditions are met:
//!
//! 1. Redistributions of source code must retain the above copyright notice, this
//!    list of conditions and the following disclaimer.
//!
//! 2. Redistributions in binary form must reproduce the above copyright notice,
//!    this list of conditions and the following disclaimer in the documentation
//!    and/or other materials provided with the distribution.
//!
//! THIS SOFTWARE IS PROVIDED BY THE COPYRIGHT HOLDERS AND CONTRIBUTORS "AS IS"
//! AND ANY EXPRESS OR IMPLIED WARRANTIES, INCLUDING, BUT NOT LIMITED TO, THE
//! IMPLIED WARRANTIES OF MERCHANTABILITY AND FITNESS FOR A PARTICULAR PURPOSE ARE
//! DISCLAIMED. IN NO EVENT SHALL THE COPYRIGHT HOLDER OR CONTRIBUTORS BE LIABLE
//! FOR ANY DIRECT, INDIRECT, INCIDENTAL, SPECIAL, EXEMPLARY, OR CONSEQUENTIAL
//! DAMAGES (INCLUDING, BUT NOT LIMITED TO, PROCUREMENT OF SUBSTITUTE GOODS OR
//! SERVICES; LOSS OF USE, DATA, OR PROFITS; OR BUSINESS INTERRUPTION) HOWEVER
//! CAUSED AND ON ANY THEORY OF LIABILITY, WHETHER IN CONTRACT, STRICT LIABILITY,
//! OR TORT (INCLUDING NEGLIGENCE OR OTHERWISE) ARISING IN ANY WAY OUT OF THE USE
//! OF THIS SOFTWARE, EVEN IF ADVISED OF THE POSSIBILITY OF SUCH DAMAGE.
//!
//! The views and conclusions contained in the software and documentation are those
//! of the authors and should not be interpreted as representing official policies,
//! either expressed or implied, of the Regents of The University of Michigan.
//! ```

/// Modules along one side of the 6 x 6 code.
pub const CODE_SIDE: usize = 6;
/// Modules along one side of the black square: the code and its black border.
pub const SQUARE_SIDE: usize = 8;
/// Number of codes in the family.
pub const CODE_COUNT: usize = 587;

/// Whether the inner module (row, column), each 0..6 from the upper left, of a code word is white.
pub fn is_white(code: u64, row: usize, column: usize) -> bool {
    let place = CODE_SIDE * CODE_SIDE - 1 - (row * CODE_SIDE + column);
    (code >> place) & 1 == 1
}

/// The code word of a tag id, if the family has it.
pub fn code_of(id: u32) -> Option<u64> {
    CODES.get(id as usize).copied()
}

/// What one tag shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct TagCode(u64);

impl TagCode {
    /// The print of a tag id, if the family has it.
    pub(crate) fn of(id: u32) -> Option<Self> {
        code_of(id).map(Self)
    }

    /// The same print hung half a turn round: the first module becomes the last.
    pub(crate) fn half_turned(self) -> Self {
        Self(self.0.reverse_bits() >> (u64::BITS as usize - CODE_SIDE * CODE_SIDE))
    }

    /// Whether the inner module (row, column), each 0..6 from the upper left, is white.
    pub(crate) fn is_white(self, row: usize, column: usize) -> bool {
        is_white(self.0, row, column)
    }
}

/// The code as it appears when the printed tag is turned by a quarter turn, `quarter_turns` times, clockwise.
pub fn turned(code: u64, quarter_turns: usize) -> u64 {
    (0..quarter_turns % 4).fold(code, |word, _| {
        let mut next = 0;
        for row in 0..CODE_SIDE {
            for column in 0..CODE_SIDE {
                next = (next << 1) | u64::from(is_white(word, CODE_SIDE - 1 - column, row));
            }
        }
        next
    })
}

/// Code words by id, rows from the top, upper left module first.
#[rustfmt::skip]
const CODES: [u64; CODE_COUNT] = [
    0xd_5d62_8584, 0xd_97f1_8b49, 0xd_d280_910e, 0xe_479e_9c98, 0xe_bcbc_a822, 0xf_31da_b3ac,
    0x0_56a5_d085, 0x1_0652_e1d4, 0x2_2b1d_fead, 0x2_65ad_0472, 0x3_4fe9_1b86, 0x3_ff96_2cd5,
    0x4_3a25_329a, 0x4_74b4_385f, 0x4_e9d2_43e9, 0x5_2461_49ae, 0x5_997f_5538, 0x6_83bb_6c4c,
    0x6_be4a_7211, 0x7_e315_8eea, 0x8_1da4_94af, 0x8_5833_9a74, 0x8_cd51_a5fe, 0x9_f21c_c2d7,
    0xa_2cab_c89c, 0xa_dc58_d9eb, 0xb_16e7_dfb0, 0xb_8c05_eb3a, 0xd_25ef_139d, 0xd_607e_1962,
    0xe_4aba_3076, 0x2_dde6_a3da, 0x4_3d40_c678, 0x5_620b_e351, 0x6_4c47_fa65, 0x6_86d7_002a,
    0x6_c166_05ef, 0x6_fbf5_0bb4, 0x8_d06d_39dc, 0x9_f538_56b5, 0xa_df74_6dc9, 0xb_c9b0_84dd,
    0xd_290a_a77b, 0xd_9e28_b305, 0xe_4dd5_c454, 0xf_ad2f_e6f2, 0x1_81a8_151a, 0x2_6be4_2c2e,
    0x2_e102_37b8, 0x4_05cd_5491, 0x7_742e_ab1c, 0x8_5e6a_c230, 0x8_d388_cdba, 0x9_f853_ea93,
    0xc_41ea_2445, 0xc_f197_3594, 0x1_4a34_a333, 0x3_1eac_d15b, 0x6_c79d_2dab, 0x7_3cbb_3935,
    0x8_9c15_5bd3, 0x8_d6a4_6198, 0x9_1133_675d, 0xa_708d_89fb, 0xa_e5ab_9585, 0xb_9558_a6d4,
    0xb_9874_3ab2, 0xd_6cec_68da, 0x1_506b_caef, 0x4_becd_217a, 0x4_f95c_273f, 0x6_58b6_49dd,
    0xa_76c4_b1b7, 0xe_cf62_1f56, 0x1_c8a5_6a57, 0x3_628e_92ba, 0x5_3706_c0e2, 0x5_e6b3_d231,
    0x7_809c_fa94, 0xe_97ee_ad6f, 0x5_af40_604a, 0x7_4929_88ad, 0xe_d599_4712, 0x5_ecea_f9ed,
    0x7_c163_2815, 0xc_1a00_95b4, 0xe_9e25_d52b, 0x3_a670_5419, 0xa_8333_012f, 0x4_ce57_04d0,
    0x5_08e6_0a95, 0x8_7747_6120, 0xa_864e_950d, 0xe_a45c_fce7, 0x1_9da0_47e8, 0x2_4d4d_5937,
    0x6_e079_cc9b, 0x9_9f2e_11d7, 0x3_3aa5_0429, 0x4_99ff_26c7, 0x5_0f1d_3251, 0x6_6e77_54ef,
    0x9_6ad6_33ce, 0x9_a565_3993, 0xa_ca30_566c, 0xc_298a_790a, 0x8_be44_b65d, 0xd_c68f_354b,
    0x1_6f7f_919b, 0x4_dde0_e826, 0xd_548c_bd9f, 0xe_0439_ceee, 0xf_d8b1_fd16, 0x7_6521_bb7b,
    0xd_9237_5742, 0xc_ab16_d40c, 0x7_30c9_dd72, 0xa_d9ba_39c2, 0xb_1449_3f87, 0x5_2b15_651f,
    0x1_8540_9cad, 0x7_7ae2_c68d, 0x9_4f5a_f4b5, 0x0_a13b_ad55, 0x6_1ea4_37cd, 0xa_0223_99e2,
    0x2_03b1_63d1, 0x7_bba8_f40e, 0x9_5bc9_442d, 0x4_1c0b_5358, 0x8_e9c6_cc81, 0x0_eb54_9670,
    0x9_da3a_0b51, 0xd_832a_67a1, 0xd_cd43_50bc, 0x4_aa05_fdd2, 0x6_0c7b_b44e, 0x4_b358_b96c,
    0x0_6729_9b45, 0xb_9c89_b5fa, 0x6_975a_caea, 0x6_2b8f_7afa, 0x3_3567_c3d7, 0xb_ac13_9950,
    0xa_5927_c62a, 0x5_c916_e6a4, 0x2_60ec_b7d5, 0x2_9b7b_bd9a, 0x9_0320_5f26, 0xa_e722_70a4,
    0x3_d2ec_51a7, 0x8_2ea5_5324, 0x1_1a6f_3427, 0x1_ca1c_4576, 0xa_40c8_1aef, 0xb_ddcc_d730,
    0x0_e617_561e, 0x9_6931_7b0f, 0x6_7f78_1364, 0x6_1091_2f96, 0xb_2549_fdfc, 0x0_6e5a_aa6b,
    0xb_6c47_5339, 0xc_5683_6a4d, 0x8_44e3_51eb, 0x4_647f_83b4, 0x0_908a_04f5, 0x7_f510_34c9,
    0xa_ee53_7fca, 0x5_e924_94ba, 0xd_4458_08f4, 0x2_8d68_b563, 0x0_4d25_374b, 0x2_bc06_5f65,
    0x9_6dc3_ea0c, 0x4_b2ad_e817, 0x0_7c3f_d502, 0xe_768b_5caf, 0x1_7605_cf6c, 0x1_8274_1ee4,
    0x6_2846_097c, 0x7_2b5e_bf80, 0x2_63da_6e13, 0xf_a841_bcb5, 0x7_e45e_8c69, 0x6_53c8_1fa0,
    0x7_443b_5e70, 0x0_a523_4afd, 0x7_4756_f24e, 0x1_57eb_f02a, 0x8_2ef4_6939, 0x8_0d42_0264,
    0x2_aeed_3e98, 0xb_0a1d_d4f8, 0xb_5436_be13, 0x7_b7b4_b13b, 0x1_ce80_d6d3, 0x1_6c08_427d,
    0xe_e544_62dd, 0x1_f764_4cce, 0x9_c7b5_cc92, 0xe_3691_38f8, 0x5_d5a6_6e91, 0x4_85d6_2f49,
    0xe_6e81_9e94, 0xb_1f34_0eb5, 0x0_9d19_8ce2, 0xd_6071_7437, 0x0_196b_856c, 0xf_0a61_73a5,
    0x1_2c0e_1ec6, 0x6_2b82_d5cf, 0xa_d154_c067, 0xc_e377_8832, 0x6_b0a7_b864, 0x4_c768_6694,
    0x5_058f_f3ec, 0xd_5e21_ea23, 0x9_ff4a_76ee, 0x9_dd98_1019, 0x1_bad4_d30a, 0xc_6018_96d1,
    0x9_7343_9b48, 0x1_ce74_31a8, 0x5_7a80_21d6, 0xf_9dba_96e6, 0x8_3a2e_4e7c, 0x8_ea58_5380,
    0xa_f6c0_e744, 0x8_75b7_3bab, 0xd_a34c_a901, 0x2_ab97_27ef, 0xd_39f2_1b9a, 0x8_a10b_742f,
    0x5_f895_2dba, 0xf_8da7_1ab0, 0xc_25f9_df96, 0x0_6f8a_5d94, 0xe_42e6_3e1a, 0xb_7840_9d1b,
    0x7_9222_9add, 0x5_acf8_c455, 0x2_fc29_a9b0, 0xe_a486_237b, 0xb_0c96_85a0, 0x1_ad74_8a47,
    0x0_3b47_12d5, 0xf_2921_6d30, 0x8_dad6_5e49, 0x0_a2cf_09dd, 0x0_b5f1_74c6, 0xe_54f5_7743,
    0xb_9cf5_4d78, 0x4_a312_a88a, 0x2_7bab_c962, 0xb_8689_7111, 0xf_2ff6_c116, 0x8_2274_bd8a,
    0x9_7023_505e, 0x5_2d46_edd1, 0x5_85c1_f538, 0xb_ddd0_0e43, 0x5_590b_74df, 0x7_2940_4a1f,
    0x6_5320_855e, 0xd_3d4b_6956, 0x7_ae37_4f14, 0x2_d7a6_0e06, 0x3_15cd_9b5e, 0xf_d36b_4eac,
    0xf_1df7_642b, 0x5_5db2_7726, 0x8_f15e_bc19, 0x9_92f8_c531, 0x6_2dea_2a40, 0x9_2827_5cab,
    0x6_9c26_3cb9, 0xa_774c_ca9e, 0x2_66b2_110e, 0x1_b14a_cbb8, 0x6_24b8_a71b, 0x1_c539_406b,
    0x3_086d_529b, 0x0_111d_d66e, 0x9_8cd6_30bf, 0x8_b9d1_ffdc, 0x7_2b2f_61e7, 0x9_ed9d_672b,
    0x9_6cdd_15f3, 0x6_366c_2504, 0x6_ca9d_f73a, 0xa_066d_60f0, 0xe_7a4b_8add, 0x8_2646_47ef,
    0xa_a195_bf81, 0x9_a3db_8244, 0x0_14d2_df6a, 0x0_b632_65b7, 0x2_f010_de73, 0x9_7e77_4986,
    0x2_48af_fc29, 0xf_b57d_cd11, 0x0_b1a7_e4d9, 0x4_bfa2_d07d, 0x5_4e5c_df96, 0x4_c15c_1c86,
    0xc_d9c6_1166, 0x4_9938_0b2a, 0x5_4030_8d09, 0x8_b63f_e66f, 0xc_81ae_b35e, 0x8_6fe0_bd5c,
    0xc_e248_0c2a, 0x1_ab29_ee60, 0x8_048d_aa15, 0xd_bfeb_2d39, 0x5_67c9_858c, 0x2_b6ed_c5bc,
    0x2_078f_ca82, 0xa_dacc_22aa, 0xb_9248_6f49, 0x5_1fac_5964, 0x6_91ee_6420, 0xf_63b3_e129,
    0x3_9be7_e572, 0xd_a2ce_6c74, 0x2_0cf1_7a5c, 0xe_e55f_9b6e, 0xf_b857_2726, 0xb_2c2d_e548,
    0xc_aa9b_ce92, 0xa_e918_2db3, 0x7_4b6e_5bd1, 0x1_37b2_52af, 0x5_1f68_6881, 0xd_672f_6c02,
    0x6_5414_6ce4, 0xf_944b_c825, 0xe_8327_f809, 0x7_6a73_fd59, 0xf_79da_4cb4, 0x9_56f8_099b,
    0x7_b5f2_655c, 0xd_06b1_14a6, 0xd_0697_ca50, 0x2_7c39_0797, 0xb_c61e_d9b2, 0xc_c12d_d19b,
    0xe_b781_8d2c, 0x0_92fc_ecda, 0x8_9ded_4ea1, 0x2_56a0_ba34, 0xb_6948_e627, 0x1_ef6b_1054,
    0x8_6392_94a2, 0xe_da37_80a4, 0x3_9ee2_af1d, 0xc_d257_edc5, 0x2_d9d6_bc22, 0x1_21d3_b47d,
    0x3_7e23_f8ad, 0x1_19f3_1cf6, 0x2_c97f_4f09, 0xd_502a_bfe0, 0x1_0bc3_ca77, 0x5_3d71_90ef,
    0x9_0c3e_62a6, 0x7_e9eb_f675, 0x9_79ce_23d1, 0x2_7f0c_98e9, 0xe_afb4_ae59, 0x7_ca7f_e2bd,
    0x1_490c_a8f6, 0x9_1233_87ba, 0xb_3bc7_3888, 0x3_ea87_e325, 0x4_8889_64aa, 0xa_0188_a6b9,
    0xc_d383_c666, 0x4_0029_a3fd, 0xe_1c00_ac5c, 0x3_9e6f_2b6e, 0xd_e664_f622, 0xe_979a_75e8,
    0x7_c6b4_c86c, 0xf_d492_e071, 0x8_fbb3_5118, 0x4_0b4a_09b7, 0xa_f80b_d6da, 0x7_0e0b_2521,
    0x2_f5c5_4d93, 0x3_f4a1_18d5, 0x0_9c18_97b9, 0x0_7977_6eac, 0x0_84b0_0b17, 0x3_a95a_d90e,
    0x2_8c54_4095, 0x3_9d45_7c05, 0x7_a379_1a78, 0xb_b770_e22e, 0x9_a822_bd6c, 0x6_8a4b_1fed,
    0xa_5fd2_7b3b, 0x0_c399_5b79, 0xd_1519_dff1, 0x8_e7ee_e359, 0xc_d3ca_50b1, 0xb_73b8_b793,
    0x5_7aca_1c43, 0xe_c265_5277, 0x7_85a2_c1b3, 0x7_5a07_985a, 0xa_4b01_eb69, 0xa_18a1_1347,
    0xd_b1f2_8ca3, 0x8_77ec_3e25, 0x3_1f63_41b8, 0x1_363a_3a4c, 0x0_75d8_b9ba, 0x7_ae07_92a9,
    0xa_83a2_1651, 0x7_f08f_9fb5, 0x0_d0cf_73a9, 0xb_04dc_c98e, 0xf_65c7_b0f8, 0x6_5dda_f69a,
    0x2_cf9b_86b3, 0x1_4cb5_1e25, 0xf_4802_7b5b, 0x0_ec26_ea8b, 0x4_4baf_d45c, 0xb_12c7_c0c4,
    0x9_59fd_9d82, 0xc_77c9_725a, 0x4_8a22_d462, 0x8_398e_8072, 0xe_c89b_05ce, 0xb_b682_d4c9,
    0xe_5a86_d2ff, 0x3_58f0_1134, 0x8_556d_dcf6, 0x6_7584_b6e2, 0x1_1609_439f, 0x0_8488_816e,
    0xa_af1a_2c46, 0xf_8798_98cf, 0x8_bbe5_e2f7, 0x1_01ee_e363, 0x6_90f6_9377, 0xf_5bd9_3cd9,
    0xc_ea4c_2bf6, 0x9_550b_e706, 0x2_c5b3_8a60, 0xe_7203_3547, 0x4_458b_0629, 0xe_e8d9_ed41,
    0xd_2f91_8d72, 0x7_8dc3_9fd3, 0x8_2126_36f6, 0x7_450a_72a7, 0xc_4f0c_f4c6, 0x3_67bc_ddcd,
    0xc_1caf_8cc6, 0xa_7f5b_853d, 0x9_d536_818b, 0x5_35e0_21b0, 0xa_7eb8_729e, 0x4_22a6_7b49,
    0x9_29e9_28a6, 0x4_8e8a_efcc, 0xa_9897_393c, 0x5_eb81_d37e, 0x1_e802_87b7, 0x3_4770_d903,
    0x2_eef8_6728, 0x5_9266_ccb6, 0x0_110b_ba61, 0x1_dfd2_84ef, 0x4_4743_9d1b, 0xf_ece0_e599,
    0x9_309f_3703, 0x8_0764_d1dd, 0x3_53f1_e6a0, 0x2_c1c1_2dcc, 0xc_1d21_b9d7, 0x4_57ee_453e,
    0xd_66fa_f540, 0x4_4831_e652, 0xc_fd49_a848, 0x9_312d_4133, 0x3_f097_d3ee, 0x8_c9eb_ef7a,
    0xa_99e2_9e88, 0x0_e9fa_b22c, 0x4_e748_f4fb, 0xe_cdee_4288, 0xa_bce5_f1d0, 0xc_42f6_876c,
    0x7_ed40_2ea0, 0xe_5c42_42c3, 0xd_5b2c_31ae, 0x2_8686_3be6, 0x1_6044_4d94, 0x5_f0f5_808e,
    0xa_e3d4_4b2a, 0x9_f5c5_d109, 0x8_ad93_16d7, 0x3_422b_a064, 0x2_fed1_1d56, 0xb_ea6e_3e04,
    0x0_4b02_9eec, 0x6_deed_7435, 0x3_718c_e17c, 0x5_5857_f5e2, 0x2_edac_7b62, 0x0_85d6_c512,
    0xd_6ca8_8e0f, 0x2_b7e1_fc69, 0xa_699d_5c1b, 0xf_05ad_74de, 0x4_cf5f_b56d, 0x5_725e_07e1,
    0x7_2f18_a2de, 0x1_cec5_2609, 0x4_8534_243c, 0x2_523a_4d69, 0x3_5c1b_80d1, 0xa_4d73_38a7,
    0x0_db1a_f012, 0xe_61a9_475d, 0x0_5df0_3f91, 0x9_7ae2_60bb, 0x3_2d62_7fef, 0xb_640f_73c2,
    0x4_5a1a_c9c6, 0x6_a220_2de1, 0x5_7d3e_25f2, 0x5_aa9f_986e, 0x0_cc85_9d8a, 0xe_3ec6_cca8,
    0x5_4e95_e1ae, 0x4_4688_7b06, 0x7_5167_32be, 0x3_817a_c8f5, 0x3_e26d_938c, 0xa_a81b_c235,
    0xd_f387_ca1b, 0x0_f3a3_b3f2, 0xb_4bf6_9677, 0xa_e218_68ed, 0x8_1e1d_2d9d, 0xa_0a9e_a14c,
    0x8_eee2_97a9, 0x4_740c_0559, 0xe_8b14_1837, 0xa_c69e_0a3d, 0x9_ed83_a1e1, 0x5_edb5_5ecb,
    0x0_7340_fe81, 0x5_0dfb_c6bf, 0x4_f583_508a, 0xc_b1fb_78bc, 0x4_025c_ed2f, 0x3_9791_ebec,
    0x5_3ee3_88f1, 0x7_d6c0_bd23, 0x9_3a99_5fbe, 0x8_a417_28de, 0x2_fe70_e053, 0xa_b3db_443a,
    0x1_364e_db05, 0x4_7b6e_eed6, 0x1_2e71_af01, 0x5_2ff8_3587, 0x3_a157_5dd8, 0x3_feaa_3564,
    0xe_acf7_8ba7, 0x0_872b_94f8, 0xd_a8dd_f9a2, 0x9_aa92_0d2b, 0x1_f350_ed36, 0x1_8a5e_861f,
    0x2_c35b_89c3, 0x3_347a_c48a, 0x7_f23e_022e, 0x2_4590_68fb, 0xe_83be_4b73,
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_quarter_turn_moves_the_upper_left_module_to_the_upper_right() {
        let upper_left = 1 << (CODE_SIDE * CODE_SIDE - 1);
        assert!(is_white(turned(upper_left, 1), 0, CODE_SIDE - 1));
        assert!(is_white(turned(upper_left, 2), CODE_SIDE - 1, CODE_SIDE - 1));
        assert_eq!(turned(CODES[7], 4), CODES[7]);
    }

    /// The family's name promises a distance of 11 (Olson 2011, section IV: codes are chosen so, rotations included).
    #[test]
    fn codes_differ_in_at_least_eleven_modules_in_every_rotation() {
        for (place, &code) in CODES.iter().enumerate() {
            for quarter_turns in 0..4 {
                let this = turned(code, quarter_turns);
                let others = &CODES[place + usize::from(quarter_turns == 0)..];
                assert!(others.iter().all(|other| (other ^ this).count_ones() >= 11), "code {place}");
            }
        }
    }
}
