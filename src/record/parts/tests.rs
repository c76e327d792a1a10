use super::*;
use crate::record::block::tests::some_block;

const ORIGIN: Origin = Origin { simulation_hash: "5f3a", seed: 5, arm: "level plane", point: 2, replicate: 0 };

fn folder_with(parts: &[(u32, u64)]) -> (tempfile::TempDir, Parts) {
    let folder = tempfile::tempdir().unwrap();
    for &(variant, part) in parts {
        let first = part * TRIALS_IN_A_PART;
        let id = PartId { variant, part };
        write_part(folder.path(), id, ORIGIN, &some_block(first..first + 50, 2)).unwrap();
    }
    let listed = Parts::list(folder.path()).unwrap();
    (folder, listed)
}

#[test]
fn identity_what_is_written_is_read_back() {
    let (_folder, parts) = folder_with(&[(0, 0), (0, 1), (3, 0)]);
    assert_eq!(parts.ids().count(), 3);
    assert_eq!(parts.of_variant(0).count(), 2);
    let last = parts.column(0, "leg_length_error_mm", Rows::LastReduction).unwrap();
    // Trials 0..50 and 10,000..10,050; those with remainder 3 by 7 have no leg length.
    let trials: Vec<u64> = (0..50).chain(10_000..10_050).collect();
    let expected: Column = trials.iter().map(|trial| (trial % 7 != 3).then_some(0.25)).collect();
    assert_eq!(last, expected);
    let [truth, reduction] = parts.columns(0, ["offset_true_mm", "reduction"], Rows::LastReduction).unwrap();
    assert!(truth.iter().zip(&trials).all(|(value, &trial)| value == Some(trial as f64 + 0.125)));
    assert!(reduction.iter().all(|value| value == Some(1.0)));
    assert_eq!(parts.column(0, "trial", Rows::All).unwrap().len(), 200);
    // A reading that is not a number is no reading.
    assert_eq!(parts.column(0, "offset_read_mm", Rows::LastReduction).unwrap().missing(), last.missing());
    assert_eq!(parts.column(0, "largest_gap_deg", Rows::All).unwrap().missing(), 200);
    let failures = parts.failures(0, Rows::LastReduction).unwrap();
    assert_eq!(failures.into_iter().collect::<Vec<_>>(), [("cup: rank loss".to_owned(), last.missing() as u64)]);
}

#[test]
fn identity_columns_stand_in_the_documented_order() {
    let (folder, _) = folder_with(&[(0, 0)]);
    let part = parquet::Part::open(&PartId { variant: 0, part: 0 }.path(folder.path())).unwrap();
    let drawn = ["anatomy_asis_width_mm", "implant_leg_length_mm", "implant_offset_mm"].map(String::from);
    let mut expected: Vec<String> = fixed_columns().collect();
    expected.splice(9..9, drawn);
    expected.push("lost_share_cup".to_owned());
    expected.push("event_probe_slip".to_owned());
    assert_eq!(part.names().collect::<Vec<_>>(), expected);
    assert!(expected.contains(&"inclination_error_deg".to_owned()));
    assert!(expected.contains(&"centre_anterior_read_mm".to_owned()));
}

#[test]
fn identity_check_says_which_trials_are_there() {
    let (_folder, parts) = folder_with(&[(1, 4)]);
    let coverage = parts.check(PartId { variant: 1, part: 4 }, &ORIGIN).unwrap();
    assert_eq!(coverage, Coverage { trials: (40_000, 40_049), trial_count: 50, rows: 100 });
    assert!(parts.check(PartId { variant: 1, part: 5 }, &ORIGIN).is_err());
}

#[test]
fn identity_bytes_do_not_depend_on_the_thread() {
    let block = some_block(0..10_000, 3);
    let bytes = |_| parquet::bytes(PartId { variant: 0, part: 0 }, ORIGIN, &block).unwrap();
    let here = bytes(0);
    let there: Vec<Vec<u8>> = std::thread::scope(|scope| {
        let threads: Vec<_> = (0..3).map(|thread| scope.spawn(move || bytes(thread))).collect();
        threads.into_iter().map(|thread| thread.join().unwrap()).collect()
    });
    assert!(there.iter().all(|bytes| *bytes == here));
}

#[test]
fn identity_a_bad_file_is_named() {
    let (folder, parts) = folder_with(&[(0, 0)]);
    let id = PartId { variant: 0, part: 0 };
    let path = id.path(folder.path());
    let whole = std::fs::read(&path).unwrap();
    for cut in [0, 3, 8, whole.len() / 2, whole.len() - 1] {
        std::fs::write(&path, &whole[..cut]).unwrap();
        for error in [parts.check(id, &ORIGIN).err(), parts.column(0, "trial", Rows::All).err()] {
            assert!(error.unwrap().to_string().contains("0000-000000.parquet"), "cut at {cut}");
        }
    }
    std::fs::write(&path, &whole).unwrap();
    let error = parts.column(0, "colour", Rows::All).unwrap_err().to_string();
    assert!(error.contains("0000-000000.parquet") && error.contains("colour"), "{error}");

    // A part under another part's name.
    std::fs::rename(&path, PartId { variant: 0, part: 7 }.path(folder.path())).unwrap();
    let error = Parts::list(folder.path()).unwrap().check(PartId { variant: 0, part: 7 }, &ORIGIN).unwrap_err();
    assert!(error.to_string().contains("0000-000007.parquet"), "{error}");

    std::fs::write(folder.path().join(".unfinished-1.parquet"), "half").unwrap();
    assert!(Parts::list(folder.path()).is_ok());
    std::fs::write(folder.path().join("other.parquet"), "half").unwrap();
    assert!(Parts::list(folder.path()).unwrap_err().to_string().contains("other.parquet"));
}

#[test]
fn identity_rows_of_another_range_or_out_of_order_are_refused() {
    let folder = tempfile::tempdir().unwrap();
    let mut backwards = some_block(10..20, 1);
    backwards.append(some_block(0..5, 1));
    for block in [some_block(9_990..10_010, 1), backwards, some_block(0..0, 1)] {
        assert!(write_part(folder.path(), PartId { variant: 0, part: 0 }, ORIGIN, &block).is_err());
    }
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 0);
}

/// A part of another seed, plan, variant or version is refused, and what was found is named beside what was expected.
#[test]
fn identity_a_part_of_another_run_is_refused() {
    let (folder, parts) = folder_with(&[(0, 0)]);
    let id = PartId { variant: 0, part: 0 };
    let refused = |origin: &Origin| parts.check(id, origin).unwrap_err();
    assert!(parts.check(id, &ORIGIN).is_ok());
    let error = refused(&Origin { seed: 6, ..ORIGIN });
    assert!(error.is_refused());
    let said = error.to_string();
    assert!(said.ends_with("0000-000000.parquet belongs to another run: its seed is 5, expected 6"), "{said}");
    let said = refused(&Origin { simulation_hash: "77", seed: 6, ..ORIGIN }).to_string();
    assert!(said.contains("its simulation hash is 5f3a, expected 77; its seed is 5"), "{said}");
    // The same file under the name of another variant, or of another range of the same variant.
    let other = |id: PartId| {
        std::fs::copy(PartId { variant: 0, part: 0 }.path(folder.path()), id.path(folder.path())).unwrap();
        Parts::list(folder.path()).unwrap().check(id, &ORIGIN).unwrap_err()
    };
    let variant = other(PartId { variant: 1, part: 0 });
    assert!(variant.is_refused() && variant.to_string().contains("its variant is 0, expected 1"), "{variant}");
    let range = other(PartId { variant: 0, part: 1 });
    assert!(range.is_refused() && range.to_string().contains("its first trial is 0, expected 10000"), "{range}");
    // As a later version would state itself, with the digest that belongs to it.
    let version = env!("CARGO_PKG_VERSION").as_bytes();
    let mut bytes = std::fs::read(id.path(folder.path())).unwrap();
    let place = bytes.windows(version.len()).rposition(|found| found == version).unwrap();
    bytes[place..place + version.len()].fill(b'9');
    assert!(digest::put(&mut bytes));
    std::fs::write(id.path(folder.path()), bytes).unwrap();
    let said = refused(&ORIGIN).to_string();
    assert!(said.contains("its version is 99999, expected"), "{said}");
}

/// Random bits of a part, in its rows, its metadata and the digest itself.
#[test]
fn identity_none_of_1000_flipped_bits_passes() {
    use rand::{RngExt, SeedableRng, rngs::Xoshiro256PlusPlus};
    let (folder, _) = folder_with(&[(0, 0)]);
    let path = PartId { variant: 0, part: 0 }.path(folder.path());
    let bytes = std::fs::read(&path).unwrap();
    assert!(check::demand_whole(&path, &bytes).is_ok());
    let footer = u32::from_le_bytes(bytes[bytes.len() - 8..bytes.len() - 4].try_into().unwrap()) as usize;
    let mut random = Xoshiro256PlusPlus::seed_from_u64(19);
    let mut in_metadata = 0;
    for _ in 0..1000 {
        let (byte, bit) = (random.random_range(0..bytes.len()), random.random_range(0..8));
        in_metadata += u32::from(byte >= bytes.len() - 8 - footer);
        let mut flipped = bytes.clone();
        flipped[byte] ^= 1 << bit;
        assert!(check::demand_whole(&path, &flipped).is_err(), "bit {bit} of byte {byte}");
    }
    assert!((100..1000).contains(&in_metadata), "{in_metadata}");
    // The digest itself, and the words before it.
    let place = bytes.windows(digest::KEY.len()).rposition(|found| found == digest::KEY.as_bytes()).unwrap();
    for bit in 8 * place..8 * bytes.len() {
        let mut flipped = bytes.clone();
        flipped[bit / 8] ^= 1 << (bit % 8);
        assert!(check::demand_whole(&path, &flipped).is_err(), "bit {bit}");
    }
    let mut cut = bytes.clone();
    cut.pop();
    assert!(check::demand_whole(&path, &cut).is_err());
}

/// The digest is SHA-256 of the file with zeros in its place, by another program.
#[test]
fn outside_sha256sum_finds_the_digest() {
    let (folder, _) = folder_with(&[(0, 0)]);
    let mut bytes = std::fs::read(PartId { variant: 0, part: 0 }.path(folder.path())).unwrap();
    let place = bytes.windows(7).rposition(|found| found == b"sha256:").unwrap() + 7;
    let stated = String::from_utf8(bytes[place..place + 64].to_vec()).unwrap();
    bytes[place..place + 64].fill(b'0');
    std::fs::write(folder.path().join("blank"), bytes).unwrap();
    // Where the program is not there, there is nothing to compare with.
    let output = std::process::Command::new("sha256sum").arg("blank").current_dir(folder.path()).output();
    if let Ok(output) = output {
        assert_eq!(String::from_utf8_lossy(&output.stdout).split(' ').next(), Some(&*stated));
    }
}

/// Errors scaled by a forger who puts the right digest to them: every row is added up again.
#[test]
fn identity_an_error_that_is_not_reading_less_truth_is_refused() {
    let (folder, parts) = folder_with(&[(0, 0)]);
    let id = PartId { variant: 0, part: 0 };
    let path = id.path(folder.path());
    let error = |which: usize, value: Option<f64>| {
        let forge = |errors: &mut [Option<f64>]| errors[which] = value;
        let bytes = parquet::forged(id, ORIGIN, &some_block(0..50, 2), "leg_length_error_mm", forge);
        std::fs::write(&path, bytes.unwrap()).unwrap();
        parts.check(id, &ORIGIN)
    };
    assert!(error(0, Some(0.25)).is_ok());
    // Row 5 is the second reduction of trial 2; those of trial 3, rows 6 and 7, have no reading.
    let refused = error(5, Some(0.1)).unwrap_err();
    assert!(refused.is_refused());
    let said = refused.to_string();
    let expected = "trial 2, reduction 1: leg_length_error_mm is 0.1, expected 0.25, the reading less the truth";
    assert!(said.ends_with(expected), "{said}");
    for (which, value) in [(0, Some(0.25 + f64::EPSILON / 4.0)), (0, None), (6, Some(0.0)), (6, Some(f64::NAN))] {
        assert!(error(which, value).unwrap_err().is_refused(), "{which} {value:?}");
    }
}
