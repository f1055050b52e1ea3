// Hostile HDF5 files of records: refused in one sentence, no crash, no other file touched.
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
#include <sys/inotify.h>
#include <sys/stat.h>
#include <unistd.h>

namespace firstedge {
namespace {

using namespace test;
using testing::ElementsAre;
using testing::HasSubstr;

struct Refused {
  const char* name;
  void (*make)(const Path&);
  const char* sentence;
};
std::ostream& operator<<(std::ostream& out, const Refused& row) {
  return out << row.name;
}

const H5::DataSpace few = shape({4, 3});

H5::DataType twelve_bits() {
  H5::IntType type(H5::PredType::STD_U16LE);
  type.setPrecision(12);
  return type;
}

H5::DataType half_precision() {
  H5::FloatType type(H5::PredType::IEEE_F32LE);
  type.setFields(15, 10, 5, 0, 10);
  type.setSize(2);
  type.setEbias(15);
  return type;
}

void write_chunk_filtered_by_a_stranger(H5::H5File& file) {
  const H5Z_class2_t stranger{
      H5Z_CLASS_T_VERS,
      511,
      1,
      1,
      "stranger",
      nullptr,
      nullptr,
      [](unsigned, std::size_t, const unsigned*, std::size_t bytes, std::size_t*, void**) { return bytes; }};
  H5Zregister(&stranger);
  H5::DSetCreatPropList properties = in_chunks({4, 3});
  properties.setFilter(511, 0, 0, nullptr);
  replace_channel(file, H5::PredType::STD_I16LE, few, properties);
  file.flush(H5F_SCOPE_GLOBAL);
  H5Zunregister(511);
}

const Refused refused[] = {
    {"no_file", [](const Path&) {}, "run.h5: "},
    {"folder", [](const Path& path) { std::filesystem::create_directory(path); }, "run.h5: "},
    {"pipe", [](const Path& path) { mkfifo(path.c_str(), 0600); }, "run.h5: "},
    {"empty", [](const Path& path) { write_bytes(path, ""); }, "is not an HDF5 file"},
    {"text", [](const Path& path) { write_bytes(path, "time,volts\n0,1\n"); }, "is not an HDF5 file"},
    {"signature_alone", [](const Path& path) { write_bytes(path, "\x89HDF\r\n\x1a\n"); },
     "cannot be opened: cut short"},
    {"cut_in_half",
     [](const Path& path) {
       write_good_file(path);
       std::filesystem::resize_file(path, std::filesystem::file_size(path) / 2);
     },
     "cannot be opened: cut short"},
    {"cut_by_one_byte",
     [](const Path& path) {
       write_good_file(path);
       std::filesystem::resize_file(path, std::filesystem::file_size(path) - 1);
     },
     "cannot be opened: cut short"},
    {"version_of_the_future",
     [](const Path& path) {
       write_good_file(path);
       patch(path, 8, "\x63");
     },
     "cannot be opened"},
    {"zeros_behind_the_signature",
     [](const Path& path) {
       write_good_file(path);
       patch(path, 8, std::string(2048, '\0'));
     },
     "cannot be opened"},
    {"nothing_in_it", [](const Path& path) { Maker{path}; }, "datasets of numbers: none"},

    {"layout_of_variable_length",
     [](const Path& path) {
       with_change(path, [](Change file) {
         file.removeAttr("layout");
         const H5::StrType type(H5::PredType::C_S1, H5T_VARIABLE);
         file.createAttribute("layout", type, scalar).write(type, std::string("firstedge records 1"));
       });
     },
     "the attribute 'layout' is text of variable length, which cannot be read safely; write it with a fixed"},
    {"layout_is_a_number",
     [](const Path& path) {
       with_change(path, [](Change file) {
         file.removeAttr("layout");
         file.createAttribute("layout", H5::PredType::NATIVE_INT, scalar);
       });
     },
     "the attribute 'layout' is not text"},
    {"layout_of_the_future",
     [](const Path& path) {
       with_change(path, [](Change file) { write_text(file, "layout", "firstedge records 2"); });
     },
     "holds 'firstedge records 2', not 'firstedge records 1'"},
    {"order_misses_a_channel",
     [](const Path& path) {
       with_change(path, [](Change file) { write_text(file.openGroup("channels"), "order", "south"); });
     },
     "the attribute 'order' does not name each dataset"},
    {"order_is_a_number",
     [](const Path& path) {
       with_change(path, [](Change file) {
         H5::Group group = file.openGroup("channels");
         group.removeAttr("order");
         group.createAttribute("order", H5::PredType::NATIVE_INT, scalar);
       });
     },
     "the attribute 'order' is not text"},
    {"order_of_too_many",
     [](const Path& path) {
       with_change(path, [](Change file) {
         H5::Group group = file.openGroup("channels");
         group.removeAttr("order");
         group.createAttribute("order", H5::StrType(H5::PredType::C_S1, 2), shape({5000}));
       });
     },
     "the attribute 'order' holds 5000 texts"},
    {"channels_is_a_dataset",
     [](const Path& path) {
       with_change(path, [](Change file) {
         file.unlink("channels");
         file.createDataSet("channels", H5::PredType::NATIVE_INT, few);
       });
     },
     "/channels: is not a group"},

    {"interval_missing",
     [](const Path& path) {
       with_change(path, [](Change file) { file.openDataSet("/channels/south").removeAttr("interval_s"); });
     },
     "/channels/south: the attribute 'interval_s' is missing"},
    {"interval_nan",
     [](const Path& path) { with_change(path, [](Change f) { replace_number(f, "interval_s", NAN); }); },
     "the attribute 'interval_s' is NaN"},
    {"interval_zero",
     [](const Path& path) { with_change(path, [](Change f) { replace_number(f, "interval_s", 0); }); },
     "the interval is not above 0"},
    {"interval_negative",
     [](const Path& path) { with_change(path, [](Change f) { replace_number(f, "interval_s", -1e-9); }); },
     "the interval is not above 0"},
    {"interval_infinite",
     [](const Path& path) { with_change(path, [](Change f) { replace_number(f, "interval_s", infinity); }); },
     "the interval is not above 0"},
    {"interval_as_text",
     [](const Path& path) {
       with_change(path,
                   [](Change f) { write_text(f.openDataSet("/channels/south"), "interval_s", "1 ns"); });
     },
     "the attribute 'interval_s' is not one number"},
    {"interval_as_list",
     [](const Path& path) {
       with_change(path, [](Change file) {
         H5::DataSet dataset = file.openDataSet("/channels/south");
         dataset.removeAttr("interval_s");
         dataset.createAttribute("interval_s", H5::PredType::NATIVE_DOUBLE, shape({3}));
       });
     },
     "the attribute 'interval_s' is not one number"},
    {"first_sample_infinite",
     [](const Path& path) {
       with_change(path, [](Change f) { replace_number(f, "first_sample_s", -infinity); });
     },
     "the time of the first sample is not finite"},
    {"scale_infinite",
     [](const Path& path) {
       with_change(path, [](Change f) { replace_number(f, "volts_per_count", infinity); });
     },
     "volts_per_count is 0 or not finite"},
    {"scale_zero",
     [](const Path& path) { with_change(path, [](Change f) { replace_number(f, "volts_per_count", 0); }); },
     "volts_per_count is 0 or not finite"},
    {"offset_infinite",
     [](const Path& path) { with_change(path, [](Change f) { replace_number(f, "offset_v", infinity); }); },
     "the offset is not finite"},
    {"limits_crossed",
     [](const Path& path) {
       with_change(path, [](Change f) { replace_number(f, "lowest_count", infinity); });
     },
     "lowest_count is not below highest_count"},

    {"samples_are_text",
     [](const Path& path) {
       with_change(path, [](Change f) { replace_channel(f, H5::StrType(H5::PredType::C_S1, 8), few); });
     },
     "/channels/south: holds text, not samples"},
    {"samples_of_variable_length",
     [](const Path& path) {
       with_change(path,
                   [](Change f) { replace_channel(f, H5::VarLenType(H5::PredType::NATIVE_SHORT), few); });
     },
     "holds elements of variable length"},
    {"samples_are_texts_of_variable_length",
     [](const Path& path) {
       with_change(path,
                   [](Change f) { replace_channel(f, H5::StrType(H5::PredType::C_S1, H5T_VARIABLE), few); });
     },
     "holds elements of variable length"},
    {"samples_are_a_compound",
     [](const Path& path) {
       with_change(path, [](Change f) {
         H5::CompType type(std::size_t{4});
         type.insertMember("i", 0, H5::PredType::NATIVE_SHORT);
         type.insertMember("q", 2, H5::PredType::NATIVE_SHORT);
         replace_channel(f, type, few);
       });
     },
     "holds a compound, not samples"},
    {"samples_are_an_enumeration",
     [](const Path& path) {
       with_change(path, [](Change f) {
         H5::EnumType type(H5::PredType::NATIVE_SHORT);
         short off = 0;
         type.insert("off", &off);
         replace_channel(f, type, few);
       });
     },
     "holds an enumeration, not samples"},
    {"samples_are_opaque",
     [](const Path& path) {
       with_change(path, [](Change f) {
         const H5::DataType type(H5T_OPAQUE, 16);
         replace_channel(f, type, few);
       });
     },
     "holds opaque bytes, not samples"},
    {"samples_are_bit_fields",
     [](const Path& path) {
       with_change(path, [](Change f) { replace_channel(f, H5::PredType::STD_B16LE, few); });
     },
     "holds bit fields, not samples"},
    {"samples_are_references",
     [](const Path& path) {
       with_change(path, [](Change f) {
         replace_channel(f, H5::PredType::STD_REF_OBJ, few, H5::DSetCreatPropList::DEFAULT, false);
       });
     },
     "/channels/south: "},
    {"samples_are_arrays",
     [](const Path& path) {
       with_change(path, [](Change f) {
         const hsize_t three = 3;
         replace_channel(f, H5::ArrayType(H5::PredType::NATIVE_SHORT, 1, &three), few);
       });
     },
     "holds arrays in an array, not samples"},
    {"samples_of_twelve_bits",
     [](const Path& path) { with_change(path, [](Change f) { replace_channel(f, twelve_bits(), few); }); },
     "holds integers of 12 bits in 16, not samples"},
    {"samples_of_half_precision",
     [](const Path& path) { with_change(path, [](Change f) { replace_channel(f, half_precision(), few); }); },
     "holds floating-point numbers of 16 bits, not samples"},

    {"channel_is_a_group",
     [](const Path& path) {
       with_change(path, [](Change file) {
         file.unlink("/channels/south");
         file.createGroup("/channels/south");
       });
     },
     "/channels/south: is not a dataset"},
    {"channel_of_three_dimensions",
     [](const Path& path) {
       with_change(path, [](Change f) { replace_channel(f, H5::PredType::NATIVE_SHORT, shape({2, 2, 2})); });
     },
     "has 3 dimensions (2 x 2 x 2); its axes should be record, sample"},
    {"channel_of_five_dimensions",
     [](const Path& path) {
       with_change(path, [](Change f) {
         replace_channel(f, H5::PredType::NATIVE_SHORT, shape({1, 1, 1, 1, 1}));
       });
     },
     "has 5 dimensions"},
    {"channel_is_one_number",
     [](const Path& path) {
       with_change(path, [](Change f) { replace_channel(f, H5::PredType::NATIVE_SHORT, scalar); });
     },
     "has 1 dimensions (1)"},
    {"channel_is_null",
     [](const Path& path) {
       with_change(path,
                   [](Change f) { replace_channel(f, H5::PredType::NATIVE_SHORT, H5::DataSpace(H5S_NULL)); });
     },
     "has 0 dimensions"},
    {"no_samples",
     [](const Path& path) {
       with_change(path, [](Change f) { replace_channel(f, H5::PredType::NATIVE_SHORT, shape({100, 0})); });
     },
     "/channels/south: has no samples"},
    {"no_records",
     [](const Path& path) {
       with_change(path, [](Change file) {
         replace_channel(file, H5::PredType::NATIVE_SHORT, shape({0, 50}));
         file.unlink("/channels/north");
         write_text(file.openGroup("channels"), "order", "south");
       });
     },
     "holds no record"},

    {"more_than_any_disk_holds",
     [](const Path& path) {
       with_change(path, [](Change f) {
         replace_channel(f, H5::PredType::NATIVE_SHORT, shape({1ULL << 40U, 1ULL << 20U}),
                         in_chunks({1, 1024}), false);
       });
     },
     "declares more data than any disk holds"},
    {"huge_without_data",
     [](const Path& path) {
       with_change(path, [](Change f) {
         replace_channel(f, H5::PredType::NATIVE_SHORT, shape({1ULL << 40U, 1000}), in_chunks({64, 1000}, 4),
                         false);
       });
     },
     "elements, more than the 0 bytes stored for it can hold"},
    {"huge_contiguous_without_data",
     [](const Path& path) {
       with_change(path, [](Change f) {
         replace_channel(f, H5::PredType::NATIVE_SHORT, shape({1ULL << 40U, 1000}),
                         H5::DSetCreatPropList::DEFAULT, false);
       });
     },
     "/channels/south: was never written"},
    {"huge_trace",
     [](const Path& path) {
       with_change(path, [](Change f) {
         replace_channel(f, H5::PredType::NATIVE_SCHAR, shape({1, (1ULL << 28U) + 1}), in_chunks({1, 1024}),
                         false);
       });
     },
     "has 268435457 samples in a record; at most 2^28"},
    {"huge_record",
     [](const Path& path) {
       with_change(path, [](Change f) {
         replace_channel(f, H5::PredType::NATIVE_DOUBLE, shape({1, 1ULL << 28U}), in_chunks({1, 1024}),
                         false);
       });
     },
     "one record has 2147483748 bytes; at most 1 GiB"},
    {"huge_chunk",
     [](const Path& path) {
       with_change(path, [](Change f) {
         replace_channel(f, H5::PredType::NATIVE_DOUBLE, shape({1ULL << 20U, 1000}),
                         in_chunks({1ULL << 20U, 500}), false);
       });
     },
     "has chunks above 1 GiB"},

    {"link_to_another_file",
     [](const Path& path) {
       write_good_file(path.parent_path() / "other.h5");
       with_change(path, [](Change file) {
         file.unlink("/channels/south");
         H5Lcreate_external("other.h5", "/channels/south", file.getId(), "/channels/south", H5P_DEFAULT,
                            H5P_DEFAULT);
       });
     },
     "/channels/south: is a link to another file, which is never followed"},
    {"group_in_another_file",
     [](const Path& path) {
       write_good_file(path.parent_path() / "other.h5");
       with_change(path, [](Change file) {
         file.unlink("/channels");
         H5Lcreate_external("other.h5", "/channels", file.getId(), "/channels", H5P_DEFAULT, H5P_DEFAULT);
       });
     },
     "/channels: is a link to another file, which is never followed"},
    {"soft_link_to_a_link_to_another_file",
     [](const Path& path) {
       write_good_file(path.parent_path() / "other.h5");
       with_change(path, [](Change file) {
         file.unlink("/channels/south");
         H5Lcreate_external("other.h5", "/channels/south", file.getId(), "/away", H5P_DEFAULT, H5P_DEFAULT);
         H5Lcreate_soft("/away", file.getId(), "/channels/south", H5P_DEFAULT, H5P_DEFAULT);
       });
     },
     "/channels/south: cannot be opened"},
    {"soft_links_in_a_circle",
     [](const Path& path) {
       with_change(path, [](Change file) {
         file.unlink("/channels/south");
         H5Lcreate_soft("/channels/south", file.getId(), "/circle", H5P_DEFAULT, H5P_DEFAULT);
         H5Lcreate_soft("/circle", file.getId(), "/channels/south", H5P_DEFAULT, H5P_DEFAULT);
       });
     },
     "/channels/south: cannot be opened: damaged, or a link that leads nowhere or in circles"},
    {"soft_link_to_nowhere",
     [](const Path& path) {
       with_change(path, [](Change file) {
         file.unlink("/channels/south");
         H5Lcreate_soft("/nowhere", file.getId(), "/channels/south", H5P_DEFAULT, H5P_DEFAULT);
       });
     },
     "/channels/south: cannot be opened"},
    {"groups_in_a_circle",
     [](const Path& path) {
       Maker maker(path);
       const H5::Group group = maker.file().createGroup("a");
       H5Lcreate_hard(maker.file().getId(), "/", group.getId(), "up", H5P_DEFAULT, H5P_DEFAULT);
       H5Lcreate_hard(maker.file().getId(), "/a", group.getId(), "again", H5P_DEFAULT, H5P_DEFAULT);
     },
     "datasets of numbers: none"},
    {"a_thousand_groups_deep",
     [](const Path& path) {
       Maker maker(path);
       H5::Group group = maker.file().openGroup("/");
       for (int i = 0; i < 1000; ++i) group = group.createGroup("x");
     },
     "datasets of numbers: none"},
    {"data_in_another_file",
     [](const Path& path) {
       write_bytes(path.parent_path() / "other.h5", std::string(24, 'x'));
       with_change(path, [](Change file) {
         H5::DSetCreatPropList properties;
         properties.setExternal("other.h5", 0, 24);
         replace_channel(file, H5::PredType::NATIVE_SHORT, few, properties, false);
       });
     },
     "/channels/south: keeps its data in another file, which is never followed"},
    {"virtual_dataset",
     [](const Path& path) {
       write_good_file(path.parent_path() / "other.h5");
       with_change(path, [](Change file) {
         H5::DSetCreatPropList properties;
         const H5::DataSpace all = shape({records_made, samples_made});
         H5Pset_virtual(properties.getId(), all.getId(), "other.h5", "/channels/south", all.getId());
         replace_channel(file, H5::PredType::NATIVE_SHORT, all, properties, false);
       });
     },
     "/channels/south: is a virtual dataset, made of other files that are never followed"},

    {"filter_of_a_stranger", [](const Path& path) { with_change(path, write_chunk_filtered_by_a_stranger); },
     "is packed with HDF5 filter 511, which is not read here; repack it"},
    {"filter_that_rounds",
     [](const Path& path) {
       with_change(path, [](Change f) {
         H5::DSetCreatPropList properties = in_chunks({4, 3});
         H5Pset_scaleoffset(properties.getId(), H5Z_SO_INT, 3);
         replace_channel(f, H5::PredType::STD_I16LE, few, properties);
       });
     },
     "is packed with HDF5 filter 6"},
    {"deflated_twice",
     [](const Path& path) {
       with_change(path, [](Change f) {
         H5::DSetCreatPropList properties = in_chunks({4, 3}, 1);
         properties.setDeflate(9);
         replace_channel(f, H5::PredType::STD_I16LE, few, properties);
       });
     },
     "has the same HDF5 filter twice"},

    {"trigger_without_femtoseconds",
     [](const Path& path) { with_change(path, [](Change f) { f.unlink("/triggers/femtoseconds"); }); },
     "/triggers/femtoseconds: is not in the file"},
    {"trigger_seconds_are_text",
     [](const Path& path) {
       with_change(path, [](Change file) {
         file.unlink("/triggers/seconds");
         const H5::StrType type(H5::PredType::C_S1, 8);
         file.createDataSet("/triggers/seconds", type, shape({100})).write(std::string(800, '7'), type);
       });
     },
     "/triggers/seconds: is text in 1 dimensions, not a list of numbers"},
    {"trigger_is_a_dataset",
     [](const Path& path) {
       with_change(path, [](Change file) {
         file.unlink("/triggers");
         file.createDataSet("/triggers", H5::PredType::NATIVE_INT, few);
       });
     },
     "/triggers/seconds: cannot be reached: something on the way is damaged, is not a group"},
    {"horizontal_offsets_of_two_dimensions",
     [](const Path& path) {
       with_change(path, [](Change file) {
         file.createGroup("horizontal_offsets");
         const std::array<double, 12> offsets{};
         file.createDataSet("/horizontal_offsets/south", H5::PredType::NATIVE_DOUBLE, few)
             .write(offsets.data(), H5::PredType::NATIVE_DOUBLE);
       });
     },
     "/horizontal_offsets/south: is floating-point numbers of 64 bits in 2 dimensions, not a list of"},
};

class hdf5_refuses : public testing::TestWithParam<Refused> {};
INSTANTIATE_TEST_SUITE_P(files, hdf5_refuses, testing::ValuesIn(refused),
                         [](const auto& row) { return std::string(row.param.name); });

TEST_P(hdf5_refuses, in_one_sentence_and_without_touching_another_file) {
  const TemporaryFolder folder;
  GetParam().make(folder / "run.h5");
  const int watch = inotify_init1(IN_NONBLOCK);
  inotify_add_watch(watch, (folder / "other.h5").c_str(), IN_OPEN | IN_ACCESS);
  testing::internal::CaptureStderr();
  const std::string sentence = sentence_of([&] { read_run({folder / "run.h5"}); });
  EXPECT_EQ(testing::internal::GetCapturedStderr(), "");  // HDF5 prints nothing of its own
  EXPECT_THAT(sentence, HasSubstr("run.h5"));
  EXPECT_THAT(sentence, HasSubstr(GetParam().sentence));
  EXPECT_THAT(sentence, testing::Not(HasSubstr("\n")));
  std::array<char, 4096> events{};
  EXPECT_EQ(read(watch, events.data(), events.size()), -1) << "the other file was opened";
  close(watch);
}

}  // namespace
}  // namespace firstedge
