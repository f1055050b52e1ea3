// Damaged HDF5 files of records: the good records are kept, the others told; bytes changed at random.
#include "firstedge/io/hdf5_reader.hpp"

#include "support/hdf5_maker.hpp"
#include "support/random_records.hpp"
#include "support/sentence_of.hpp"
#include "support/spoilt_hdf5.hpp"
#include "support/temporary_folder.hpp"

#include <array>
#include <cmath>
#include <cstdint>
#include <fstream>
#include <limits>

#include <H5Cpp.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <zlib.h>

namespace firstedge {
namespace {

using namespace test;
using testing::ElementsAre;
using testing::HasSubstr;

// Where a chunk's bytes are in the file.
struct ChunkPlace {
  haddr_t address = 0;
  hsize_t bytes = 0;
};
ChunkPlace chunk_place(const Path& path, const char* dataset_path, hsize_t chunk) {
  const H5::H5File file(path.string(), H5F_ACC_RDONLY);
  const H5::DataSet dataset = file.openDataSet(dataset_path);
  ChunkPlace place;
  std::array<hsize_t, 2> offset{};
  unsigned mask = 0;
  const H5::DataSpace space = dataset.getSpace();
  H5Dget_chunk_info(dataset.getId(), space.getId(), chunk, offset.data(), &mask, &place.address,
                    &place.bytes);
  return place;
}

// "south" in ten chunks of ten records, packed.
void write_ten_chunks(const Path& path, bool checksum) {
  write_good_file(path);
  H5::H5File file(path.string(), H5F_ACC_RDWR);
  H5::DSetCreatPropList properties = in_chunks({10, samples_made});
  if (checksum) {
    properties.setFletcher32();
  } else {
    properties.setDeflate(6);
  }
  replace_channel(file, H5::PredType::STD_I16LE, shape({records_made, samples_made}), properties);
}

// The fourth chunk of "south" replaced by these bytes as they would stand in the file.
void write_fourth_chunk(const Path& path, const std::vector<Bytef>& stored) {
  write_ten_chunks(path, false);
  H5::H5File file(path.string(), H5F_ACC_RDWR);
  const H5::DataSet dataset = file.openDataSet("/channels/south");
  const std::array<hsize_t, 2> offset{30, 0};
  H5Dwrite_chunk(dataset.getId(), H5P_DEFAULT, 0, offset.data(), stored.size(), stored.data());
}

std::vector<Bytef> deflated(std::size_t zeros) {
  const std::vector<Bytef> bytes(zeros);
  uLongf size = compressBound(zeros);
  std::vector<Bytef> packed(size);
  compress2(packed.data(), &size, bytes.data(), zeros, 9);
  packed.resize(size);
  return packed;
}

template <class Number>
void write_one(const Path& path, const char* dataset_path, const H5::DataType& type, hsize_t record,
               Number number) {
  H5::H5File file(path.string(), H5F_ACC_RDWR);
  const H5::DataSet dataset = file.openDataSet(dataset_path);
  H5::DataSpace space = dataset.getSpace();
  space.selectElements(H5S_SELECT_SET, 1, &record);
  dataset.write(&number, type, scalar, space);
}

struct Damaged {
  const char* name;
  void (*make)(const Path&);
  const char* problem;
  std::uint64_t good, bad, missing;
};
std::ostream& operator<<(std::ostream& out, const Damaged& row) {
  return out << row.name;
}

const Damaged damaged[] = {
    {"compressed_data_broken",
     [](const Path& path) {
       write_ten_chunks(path, false);
       const ChunkPlace place = chunk_place(path, "/channels/south", 3);
       patch(path, place.address + place.bytes / 2, "\x55\xaa");
     },
     "/channels/south, record 30: a block of samples is damaged (its compressed data are wrong)", 100, 0, 10},
    {"checksum_differs",
     [](const Path& path) {
       write_ten_chunks(path, true);
       patch(path, chunk_place(path, "/channels/south", 0).address + 7, "\x01");
     },
     "/channels/south, record 0: a block of samples is damaged (its checksum differs)", 100, 0, 10},
    {"chunk_that_inflates_without_end",
     [](const Path& path) { write_fourth_chunk(path, deflated(std::size_t{200} << 10U)); },
     "record 30: a block of samples is damaged (its compressed data are wrong)", 100, 0, 10},
    {"chunk_that_inflates_to_too_little", [](const Path& path) { write_fourth_chunk(path, deflated(999)); },
     "record 30: a block of samples is damaged (its compressed data are wrong)", 100, 0, 10},
    {"chunk_longer_than_it_may_be",
     [](const Path& path) { write_fourth_chunk(path, std::vector<Bytef>(5000, 7)); },
     "record 30: a block of samples is damaged (longer than it may be)", 100, 0, 10},
    {"chunk_of_one_byte", [](const Path& path) { write_fourth_chunk(path, {0x78}); },
     "record 30: a block of samples is damaged", 100, 0, 10},
    {"chunks_never_written",
     [](const Path& path) {
       with_change(path, [](Change file) {
         replace_channel(file, H5::PredType::STD_I16LE, shape({40, samples_made}),
                         in_chunks({10, samples_made}, 1), false);
         const H5::DataSet dataset = file.openDataSet("/channels/south");
         const std::vector<Bytef> packed = deflated(1000);
         for (const hsize_t record : {0U, 10U, 30U}) {
           const std::array<hsize_t, 2> offset{record, 0};
           H5Dwrite_chunk(dataset.getId(), H5P_DEFAULT, 0, offset.data(), packed.size(), packed.data());
         }
       });
     },
     "/channels/south, record 20: a block of samples was never written, or", 100, 0, 70},
    {"both_channels_broken",
     [](const Path& path) {
       write_good_file(path);
       for (const char* channel : {"/channels/south", "/channels/north"}) {
         const ChunkPlace place = chunk_place(path, channel, 0);
         patch(path, place.address + place.bytes / 2, std::string(8, '\x5a'));
       }
     },
     "a block of samples is damaged", 0, 100, 0},
    {"trigger_of_no_scale",
     [](const Path& path) {
       write_good_file(path);
       write_one<std::uint8_t>(path, "/triggers/scale", H5::PredType::NATIVE_UINT8, 7, 9);
     },
     "/triggers/seconds, record 7: the trigger time is missing, damaged or outside", 100, 0, 0},
    {"trigger_beyond_the_second",
     [](const Path& path) {
       write_good_file(path);
       write_one<std::int64_t>(path, "/triggers/femtoseconds", H5::PredType::NATIVE_INT64, 8,
                               2'000'000'000'000'000);
     },
     "record 8: the trigger time", 100, 0, 0},
    {"trigger_after_the_end_of_time",
     [](const Path& path) {
       write_good_file(path);
       write_one<std::int64_t>(path, "/triggers/seconds", H5::PredType::NATIVE_INT64, 9,
                               std::numeric_limits<std::int64_t>::max());
     },
     "record 9: the trigger time", 100, 0, 0},
    {"horizontal_offset_nan",
     [](const Path& path) {
       with_change(path, [](Change file) {
         file.createGroup("horizontal_offsets");
         std::vector<double> offsets(records_made, 1e-10);
         offsets[5] = NAN;
         offsets[6] = infinity;
         file.createDataSet("/horizontal_offsets/south", H5::PredType::IEEE_F64BE, shape({records_made}))
             .write(offsets.data(), H5::PredType::NATIVE_DOUBLE);
       });
     },
     "/channels/south, record 5: the time of the first sample is not finite", 100, 0, 2},
    {"horizontal_offsets_too_few",
     [](const Path& path) {
       with_change(path, [](Change file) {
         file.createGroup("horizontal_offsets");
         const std::vector<double> offsets(90, 1e-10);
         file.createDataSet("/horizontal_offsets/south", H5::PredType::IEEE_F64LE, shape({90}))
             .write(offsets.data(), H5::PredType::NATIVE_DOUBLE);
       });
     },
     "/channels/south, record 90: the time of the first sample is not finite", 100, 0, 10},
};

class hdf5_keeps : public testing::TestWithParam<Damaged> {};
INSTANTIATE_TEST_SUITE_P(files, hdf5_keeps, testing::ValuesIn(damaged),
                         [](const auto& row) { return std::string(row.param.name); });

TEST_P(hdf5_keeps, the_good_records_and_tells_of_the_others) {
  const TemporaryFolder folder;
  GetParam().make(folder / "run.h5");
  for (const std::size_t size : {1U, 100U}) {
    testing::internal::CaptureStderr();
    const WholeRun run = read_run({folder / "run.h5"}, {}, size);
    EXPECT_EQ(testing::internal::GetCapturedStderr(), "");
    EXPECT_EQ(run.records.size(), GetParam().good);
    EXPECT_EQ(run.account.records_good, GetParam().good);
    EXPECT_EQ(run.account.records_bad, GetParam().bad);
    EXPECT_EQ(run.account.traces_missing, GetParam().missing);
    ASSERT_FALSE(run.account.problems.empty());
    EXPECT_THAT(run.account.problems.front().what(), HasSubstr(GetParam().problem));
    for (const Record& record : run.records) {
      EXPECT_EQ(record.traces[1].size(), samples_made);
    }
  }
}

TEST(hdf5_keeps, the_other_files_of_a_run) {
  const TemporaryFolder folder;
  write_good_file(folder / "a.h5");
  write_bytes(folder / "b.h5", "\x89HDF\r\n\x1a\n");
  write_good_file(folder / "c.h5");
  const WholeRun run = read_run({folder / "a.h5", folder / "b.h5", folder / "c.h5"});
  EXPECT_EQ(run.account.records_good, 200U);
  EXPECT_EQ(run.account.records_bad, 1U);
  EXPECT_EQ(run.records.back().file, 2U);
  ASSERT_EQ(run.account.problems.size(), 1U);
  EXPECT_THAT(run.account.problems[0].what(), HasSubstr("b.h5: is an HDF5 file that cannot be opened"));
}

TEST(hdf5_names, of_channels_and_attributes_become_printable) {
  const TemporaryFolder folder;
  with_change(folder / "run.h5", [](Change file) {
    const std::string name = "<script>alert(1)</script>\x1b[31m\n";
    H5Lmove(file.getId(), "/channels/south", file.openGroup("channels").getId(), "<script>\x1b[31m\n",
            H5P_DEFAULT, H5P_DEFAULT);
    H5::Group group = file.openGroup("channels");
    group.removeAttr("order");
    write_text(file, "operator\x07", std::string(30'000, '\x1b') + name);
  });
  const WholeRun run = read_run({folder / "run.h5"});
  EXPECT_THAT(run.description.channels, ElementsAre("<script>?[31m?", "north"));
  EXPECT_THAT(run.description.guesses, ElementsAre(HasSubstr("in the order of their names")));
  ASSERT_TRUE(run.description.metadata.contains("operator?"));
  EXPECT_LE(run.description.metadata.at("operator?").size(), 1003U);
  EXPECT_EQ(run.description.metadata.at("operator?").find('\x1b'), std::string::npos);
}

// ---- bytes changed at random: any outcome but a crash, a hang or records out of shape

class hdf5_random_damage : public testing::TestWithParam<bool> {};
INSTANTIATE_TEST_SUITE_P(superblocks, hdf5_random_damage, testing::Values(false, true),
                         [](const auto& row) { return std::string(row.param ? "oldest" : "ours"); });

TEST_P(hdf5_random_damage, is_told_or_harmless) {
  const TemporaryFolder folder;
  const Path good = folder / "good.h5", bad = folder / "bad.h5";
  if (GetParam()) {  // as most programs write: version 0 of everything, no checksums
    Maker maker(good);
    std::vector<std::int16_t> counts(40 * 20, 3);
    H5::DataSet waves = maker.dataset("waves", H5::PredType::STD_I16BE, {40, 20}, counts.data(),
                                      H5::PredType::NATIVE_INT16, in_chunks({8, 20}, 1));
    maker.number(waves, "dt", 1e-9);
  } else {
    write_good_file(good);
  }
  test::Random random(2026);
  const double size = static_cast<double>(std::filesystem::file_size(good));
  std::size_t refusals = 0;
  for (int round = 0; round < 300; ++round) {
    std::filesystem::copy_file(good, bad, std::filesystem::copy_options::overwrite_existing);
    for (int flip = 0; flip <= round % 4; ++flip) {
      // Half of them in the first 2 KiB, where the structure stands.
      const double most = flip % 2 == 0 ? std::min(size, 2048.0) : size;
      patch(bad, static_cast<std::uint64_t>(random.uniform(0, most)),
            std::string(1, static_cast<char>(random.uniform(-128, 128))));
    }
    const std::string sentence = sentence_of([&] {
      const WholeRun run = read_run({bad}, {}, 64);
      EXPECT_LE(run.records.size(), 1000U);
    });
    refusals += sentence.empty() ? 0 : 1;
  }
  EXPECT_GT(refusals, 30U);
}

}  // namespace
}  // namespace firstedge
