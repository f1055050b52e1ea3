// Hostile and damaged stamp tables and template files: one sentence, no crash.
#include "firstedge/io/stamp_table.hpp"
#include "firstedge/io/template_file.hpp"

#include "support/sentence_of.hpp"
#include "support/temporary_folder.hpp"

#include <cstdint>
#include <fstream>
#include <functional>
#include <sstream>

#include <H5Cpp.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace firstedge {
namespace {

using test::sentence_of;
using test::TemporaryFolder;
using testing::HasSubstr;
using Path = std::filesystem::path;
using Change = H5::H5File&;

StampTableHead some_head() {
  StampTableHead head;
  head.channels = {{.name = "south"}, {.name = "north"}};
  head.methods = {{.name = "leading_edge", .settings = "threshold=20 mV"}};
  return head;
}

// A good table of 100 stamps with one trigger.
void write_good_table(const Path& path) {
  StampTableWriter writer(path, some_head());
  std::vector<Stamp> stamps(100);
  for (std::size_t i = 0; i < stamps.size(); ++i) {
    stamps[i].record = i;
    stamps[i].time_s = static_cast<double>(i);
  }
  const TriggerRow trigger{1, {TimeScale::utc, 5, 6}};
  writer.write(stamps, std::span(&trigger, 1));
  writer.finish();
}

void with_change(const Path& path, void (*change)(Change)) {
  write_good_table(path);
  H5::H5File file(path.string(), H5F_ACC_RDWR);
  change(file);
}

// The dataset with another row type, of the members that `keep` gives a type (nothing: left out).
void retype(H5::H5File& file, const std::string& name,
            const std::function<std::optional<H5::DataType>(const std::string&, const H5::DataType&)>& keep) {
  const H5::CompType old = file.openDataSet(name).getCompType();
  std::vector<std::pair<std::string, H5::DataType>> members;
  std::size_t size = 0;
  for (unsigned i = 0; i < static_cast<unsigned>(old.getNmembers()); ++i) {
    if (const auto type = keep(old.getMemberName(i), old.getMemberDataType(i))) {
      members.emplace_back(old.getMemberName(i), *type);
      size += type->getSize();
    }
  }
  H5::CompType made(size);
  std::size_t at = 0;
  for (const auto& [member, type] : members) {
    made.insertMember(member, at, type);
    at += type.getSize();
  }
  const hsize_t rows = 3;
  file.unlink(name);
  const std::vector<char> zeros(size * rows);
  H5::DataSet dataset = file.createDataSet(name, made, H5::DataSpace(1, &rows));
  if (H5Tdetect_class(made.getId(), H5T_VLEN) <= 0) dataset.write(zeros.data(), made);
}

void without_member(H5::H5File& file, const std::string& dataset, const std::string& member) {
  retype(file, dataset, [&](const std::string& name, const H5::DataType& type) {
    return name == member ? std::nullopt : std::optional(type);
  });
}

void with_member(H5::H5File& file, const std::string& dataset, const std::string& member,
                 const H5::DataType& other) {
  retype(file, dataset, [&](const std::string& name, const H5::DataType& type) {
    return std::optional(name == member ? other : type);
  });
}

void write_text(H5::H5File& file, const char* attribute, const std::string& text) {
  file.removeAttr(attribute);
  const H5::StrType type(H5::PredType::C_S1, text.size());
  file.createAttribute(attribute, type, H5::DataSpace(H5S_SCALAR)).write(type, text);
}

void patch(const Path& path, std::uint64_t offset, const std::string& bytes) {
  std::fstream stream(path, std::ios::binary | std::ios::in | std::ios::out);
  stream.seekp(static_cast<std::streamoff>(offset));
  stream << bytes;
}

// The number in a member of a row of a good table.
template <class Number>
void write_member(H5::H5File& file, const char* dataset_path, const char* member, hsize_t row, Number number,
                  const H5::DataType& type) {
  H5::CompType one(sizeof number);
  one.insertMember(member, 0, type);
  H5::DataSet dataset = file.openDataSet(dataset_path);
  H5::DataSpace space = dataset.getSpace();
  space.selectElements(H5S_SELECT_SET, 1, &row);
  dataset.write(&number, one, H5::DataSpace(H5S_SCALAR), space);
}

// Everything that a reader of stamps asks for.
void read_all(const Path& path) {
  StampTableReader reader(path);
  while (!reader.next_block(64).empty()) {
  }
  reader.triggers();
}

struct Refused {
  const char* name;
  void (*change)(Change);  // of a good file
  const char* sentence;
};
std::ostream& operator<<(std::ostream& out, const Refused& row) {
  return out << row.name;
}

const Refused refused_tables[] = {
    {"records_in_place_of_stamps", [](Change f) { write_text(f, "layout", "firstedge records 1"); },
     "is not a stamp table"},
    {"layout_missing", [](Change f) { f.removeAttr("layout"); }, "is not a stamp table"},
    {"provenance_missing", [](Change f) { f.removeAttr("provenance"); },
     "the provenance is not the JSON text"},
    {"provenance_no_json", [](Change f) { write_text(f, "provenance", "{\"program\": 1"); },
     "the provenance is not the JSON text"},
    {"provenance_of_wrong_kinds",
     [](Change f) {
       write_text(f, "provenance",
                  R"({"program":1,"version":"","command":"","inputs":[],"setup":"","options":{}})");
     },
     "the provenance is not the JSON text"},
    {"provenance_nested_deep", [](Change f) { write_text(f, "provenance", std::string(60'000, '[')); },
     "the provenance is not the JSON text"},
    {"title_of_variable_length",
     [](Change file) {
       file.removeAttr("title");
       const H5::StrType type(H5::PredType::C_S1, H5T_VARIABLE);
       file.createAttribute("title", type, H5::DataSpace(H5S_SCALAR)).write(type, std::string("x"));
     },
     "the attribute 'title' is text of variable length"},
    {"stamps_missing", [](Change f) { f.unlink("/stamps"); }, "/stamps: is not in the file"},
    {"stamps_are_numbers",
     [](Change file) {
       file.unlink("/stamps");
       const hsize_t rows = 3;
       const std::array<double, 3> numbers{};
       file.createDataSet("/stamps", H5::PredType::NATIVE_DOUBLE, H5::DataSpace(1, &rows))
           .write(numbers.data(), H5::PredType::NATIVE_DOUBLE);
     },
     "/stamps: is not the table it should be: its rows have no members"},
    {"a_member_missing", [](Change f) { without_member(f, "/stamps", "uncertainty_s"); },
     "the member 'uncertainty_s' is missing"},
    {"a_member_of_less_precision",
     [](Change f) { with_member(f, "/stamps", "time_s", H5::PredType::IEEE_F32LE); },
     "the member 'time_s' has another type"},
    {"a_member_of_text",
     [](Change f) { with_member(f, "/stamps", "flags", H5::StrType(H5::PredType::C_S1, 4)); },
     "the member 'flags' has another type"},
    {"a_member_of_variable_length",
     [](Change f) { with_member(f, "/stamps", "flags", H5::StrType(H5::PredType::C_S1, H5T_VARIABLE)); },
     "/stamps: holds elements of variable length"},
    {"a_channel_that_is_not_listed",
     [](Change f) {
       write_member<std::uint16_t>(f, "/stamps", "channel", 42, 2, H5::PredType::NATIVE_UINT16);
     },
     "a stamp names a channel or method that the table does not list"},
    {"a_method_that_is_not_listed",
     [](Change f) {
       write_member<std::uint16_t>(f, "/stamps", "method", 99, 65535, H5::PredType::NATIVE_UINT16);
     },
     "a stamp names a channel or method that the table does not list"},
    {"channels_missing", [](Change f) { f.unlink("/channels"); }, "/channels: is not in the file"},
    {"channels_without_names", [](Change f) { without_member(f, "/channels", "name"); },
     "/channels: has another type"},
    {"channel_names_as_numbers",
     [](Change f) { with_member(f, "/channels", "name", H5::PredType::NATIVE_DOUBLE); },
     "the member 'name' has another type"},
    {"channels_without_end",
     [](Change file) {
       const H5::CompType type = file.openDataSet("/channels").getCompType();
       file.unlink("/channels");
       const hsize_t rows = hsize_t{1} << 40U, chunk = 1024;
       H5::DSetCreatPropList properties;
       properties.setChunk(1, &chunk);
       file.createDataSet("/channels", type, H5::DataSpace(1, &rows), properties);
     },
     "/channels: is larger than a list of channels or methods can be"},
    {"stamps_without_end",
     [](Change file) {
       const H5::CompType type = file.openDataSet("/stamps").getCompType();
       file.unlink("/stamps");
       const hsize_t rows = hsize_t{1} << 40U, chunk = 1024;
       H5::DSetCreatPropList properties;
       properties.setChunk(1, &chunk);
       file.createDataSet("/stamps", type, H5::DataSpace(1, &rows), properties);
     },
     "/stamps: declares 1099511627776 elements, more than the 0 bytes stored for it can hold"},
    {"trigger_of_no_scale",
     [](Change f) { write_member<std::uint8_t>(f, "/triggers", "scale", 0, 3, H5::PredType::NATIVE_UINT8); },
     "/triggers: a trigger has the unknown time scale 3"},
    {"triggers_without_records", [](Change f) { without_member(f, "/triggers", "record"); },
     "/triggers: is not the table it should be: the member 'record' is missing"},
};

class hdf5_stamp_table_refuses : public testing::TestWithParam<Refused> {};
INSTANTIATE_TEST_SUITE_P(files, hdf5_stamp_table_refuses, testing::ValuesIn(refused_tables),
                         [](const auto& row) { return std::string(row.param.name); });

TEST_P(hdf5_stamp_table_refuses, in_one_sentence) {
  const TemporaryFolder folder;
  with_change(folder / "stamps.h5", GetParam().change);
  testing::internal::CaptureStderr();
  const std::string sentence = sentence_of([&] { read_all(folder / "stamps.h5"); });
  EXPECT_EQ(testing::internal::GetCapturedStderr(), "");
  EXPECT_THAT(sentence, HasSubstr("stamps.h5"));
  EXPECT_THAT(sentence, HasSubstr(GetParam().sentence));
}

TEST(hdf5_stamp_table, a_damaged_block_of_stamps_is_told_by_its_row) {
  const TemporaryFolder folder;
  const Path path = folder / "stamps.h5";
  write_good_table(path);
  haddr_t address = 0;
  hsize_t bytes = 0, offset = 0;
  unsigned mask = 0;
  {
    const H5::H5File file(path.string(), H5F_ACC_RDONLY);
    const H5::DataSet stamps = file.openDataSet("/stamps");
    const H5::DataSpace space = stamps.getSpace();
    H5Dget_chunk_info(stamps.getId(), space.getId(), 0, &offset, &mask, &address, &bytes);
  }
  patch(path, address + bytes / 2, "\x55\xaa\x55");
  EXPECT_THAT(sentence_of([&] { read_all(path); }), HasSubstr("/stamps, row 0: a block of rows is damaged"));
}

// ---- CSV: a text of the good table with one passage replaced by another

struct Replaced {
  const char* name;
  const char* passage;
  const char* by;
  const char* sentence;
};
std::ostream& operator<<(std::ostream& out, const Replaced& row) {
  return out << row.name;
}

const Replaced replaced[] = {
    {"another_first_line", "stamp table 1", "stamp table 2", "is not a stamp table (its first line is not"},
    {"title_no_json", "# title: \"\"", "# title: \"", ", line 2: this line of the head is not the JSON"},
    {"channel_without_name", "{\"name\":\"south\",", "{", ", line 3: this line of the head is not the JSON"},
    {"method_no_object", "# method: {", "# method: [{", ", line 5: this line of the head is not the JSON"},
    {"provenance_no_json", "# provenance: {", "# provenance: ", "the provenance is not the JSON text"},
    {"columns_swapped", "record,channel", "channel,record", "the columns are not those of a stamp table"},
    {"too_few_fields", "\n8,", "\n7,south\n8,", ": the row has too few fields"},
    {"too_many_fields", "\n7,south", "\n1,7,south", "the row names '7', which the head does not list"},
    {"time_no_number", ",0,1,7,", ",0,1,7 s,", "the row has the time_s '7 s'"},
    {"more_fields_at_the_end", ",,\n99,", ",,,,\n99,", "the row has"},
    {"record_no_number", "\n7,", "\n7x,", "the row has the record '7x'"},
    {"record_negative", "\n7,", "\n-7,", "the row has the record '-7'"},
    {"record_beyond_64_bits", "\n7,", "\n99999999999999999999,",
     "the row has the record '99999999999999999999'"},
    {"unknown_channel", "\n7,south", "\n7,west", "the row names 'west', which the head does not list"},
    {"unknown_method", "\n7,south,leading", "\n7,south,trailing", "which the head does not list"},
    {"open_quote", "\n7,south", "\n7,\"south", "the row has a quote that does not end"},
    {"text_behind_a_quote", "\n7,south", "\n7,\"south\"x", "the row has text behind a quote"},
    {"unknown_flag", ",\n8,", ",odd\n8,", "the row has the flag 'odd'"},
    {"trigger_of_no_scale", "1,UTC,5,6", "1,EST,5,6", "the row has the time scale 'EST'"},
    {"trigger_cut", "1,UTC,5,6", "1,UTC,5", "the row has too few fields"},
    {"escape_sequences", "\n7,south", "\n7,\x1b[31m<script>", "the row names '?[31m<script>'"},
};

class hdf5_stamp_csv_refuses : public testing::TestWithParam<Replaced> {};
INSTANTIATE_TEST_SUITE_P(files, hdf5_stamp_csv_refuses, testing::ValuesIn(replaced),
                         [](const auto& row) { return std::string(row.param.name); });

TEST_P(hdf5_stamp_csv_refuses, in_one_sentence) {
  const TemporaryFolder folder;
  const Path path = folder / "stamps.csv";
  write_good_table(path);
  std::stringstream stream;
  stream << std::ifstream(path).rdbuf();
  std::string text = stream.str();
  const std::size_t at = text.find(GetParam().passage);
  ASSERT_NE(at, std::string::npos);
  text.replace(at, std::string(GetParam().passage).size(), GetParam().by);
  std::ofstream(path, std::ios::trunc) << text;
  const std::string sentence = sentence_of([&] { read_all(path); });
  EXPECT_THAT(sentence, HasSubstr("stamps.csv"));
  EXPECT_THAT(sentence, HasSubstr(GetParam().sentence));
  EXPECT_LT(sentence.size(), 1300U);
}

TEST(hdf5_stamp_csv_refuses, a_row_without_end) {
  const TemporaryFolder folder;
  write_good_table(folder / "stamps.csv");
  std::ofstream(folder / "stamps.csv", std::ios::app) << std::string(100'000, '7');
  EXPECT_THAT(sentence_of([&] { read_all(folder / "stamps.csv"); }), HasSubstr(": the line is too long"));
}

TEST(hdf5_stamp_csv_refuses, every_cut_of_the_head_and_survives_every_other) {
  const TemporaryFolder folder;
  const Path whole = folder / "whole.csv", cut = folder / "cut.csv";
  write_good_table(whole);
  std::stringstream stream;
  stream << std::ifstream(whole).rdbuf();
  const std::string text = stream.str();
  const std::size_t head = text.find("\n0,south");
  for (std::size_t size = 0; size < text.size(); size += size < head ? 1 : 97) {
    std::ofstream(cut, std::ios::trunc) << text.substr(0, size);
    const std::string sentence = sentence_of([&] { read_all(cut); });
    if (size < head) {
      EXPECT_NE(sentence, "") << size;
    }
  }
}

// ---- templates

void with_templates(const Path& path, void (*change)(Change)) {
  PulseTemplate one{.channel = "south",
                    .interval_s = 1e-11,
                    .shape = std::vector<double>(100, 0.5),
                    .shape_uncertainty = std::vector<double>(100, 0.01),
                    .pulses_used = 10};
  PulseTemplate two = one;
  two.channel = "north";
  write_templates(path, {one, two});
  H5::H5File file(path.string(), H5F_ACC_RDWR);
  change(file);
}

void replace_number(H5::H5File& file, const char* attribute, double value) {
  H5::Group group = file.openGroup("/0");
  group.removeAttr(attribute);
  group.createAttribute(attribute, H5::PredType::NATIVE_DOUBLE, H5::DataSpace(H5S_SCALAR))
      .write(H5::PredType::NATIVE_DOUBLE, &value);
}

void replace_shape(H5::H5File& file, const H5::DataType& type, const std::vector<hsize_t>& shape,
                   double value = 0.5) {
  file.unlink("/0/shape");
  const H5::DataSpace space(static_cast<int>(shape.size()), shape.data());
  const std::vector<double> values(static_cast<std::size_t>(space.getSimpleExtentNpoints()), value);
  file.createDataSet("/0/shape", type, space).write(values.data(), H5::PredType::NATIVE_DOUBLE);
}

const Refused refused_templates[] = {
    {"another_layout", [](Change f) { write_text(f, "layout", "firstedge records 1"); },
     "is not a file of templates"},
    {"interval_missing", [](Change f) { f.openGroup("/0").removeAttr("interval_s"); },
     "/0: the attribute 'interval_s' is missing"},
    {"interval_zero", [](Change f) { replace_number(f, "interval_s", 0); },
     "the template of channel 'south' has no positive interval"},
    {"reference_outside", [](Change f) { replace_number(f, "reference_fraction", 1.5); },
     "has a reference fraction outside (0, 1)"},
    {"pulses_negative", [](Change f) { replace_number(f, "pulses_used", -1); },
     "/0: the attribute 'pulses_used' is no count"},
    {"shape_missing", [](Change f) { f.unlink("/0/shape"); }, "/0/shape: is not in the file"},
    {"shape_is_a_group",
     [](Change f) {
       f.unlink("/0/shape");
       f.createGroup("/0/shape");
     },
     "/0/shape: is not a dataset"},
    {"shape_of_integers", [](Change f) { replace_shape(f, H5::PredType::STD_I16LE, {100}); },
     "/0/shape: is not a list of at most 2^24 floating-point numbers"},
    {"shape_of_two_dimensions",
     [](Change f) {
       replace_shape(f, H5::PredType::IEEE_F64LE, {10, 10});
     },
     "/0/shape: is not a list of at most 2^24 floating-point numbers"},
    {"shape_of_another_size", [](Change f) { replace_shape(f, H5::PredType::IEEE_F64BE, {99}); },
     "has an uncertainty of another size than its shape"},
    {"shape_not_finite", [](Change f) { replace_shape(f, H5::PredType::IEEE_F64LE, {100}, INFINITY); },
     "holds values that are not finite"},
    {"shape_empty",
     [](Change f) {
       f.unlink("/0/shape_uncertainty");
       replace_shape(f, H5::PredType::IEEE_F64LE, {0});
     },
     "has an empty shape"},
    {"shape_without_end",
     [](Change file) {
       file.unlink("/0/shape");
       const hsize_t points = hsize_t{1} << 24U, chunk = 4096;
       H5::DSetCreatPropList properties;
       properties.setChunk(1, &chunk);
       file.createDataSet("/0/shape", H5::PredType::IEEE_F64LE, H5::DataSpace(1, &points), properties);
     },
     "/0/shape: declares 16777216 elements, more than the 0 bytes"},
    {"shape_huge",
     [](Change file) {
       file.unlink("/0/shape");
       const hsize_t points = (hsize_t{1} << 24U) + 1, chunk = 4096;
       H5::DSetCreatPropList properties;
       properties.setChunk(1, &chunk);
       file.createDataSet("/0/shape", H5::PredType::IEEE_F64LE, H5::DataSpace(1, &points), properties);
     },
     "/0/shape: is not a list of at most 2^24 floating-point numbers"},
    {"channel_as_number",
     [](Change file) {
       H5::Group group = file.openGroup("/0");
       group.removeAttr("channel");
       group.createAttribute("channel", H5::PredType::NATIVE_INT, H5::DataSpace(H5S_SCALAR));
     },
     "/0: the attribute 'channel' is not text"},
    {"two_of_one_channel",
     [](Change file) {
       file.unlink("/1");
       H5Lcreate_hard(file.getId(), "/0", file.getId(), "/1", H5P_DEFAULT, H5P_DEFAULT);
     },
     "the template of channel 'south' stands twice"},
    {"group_in_another_file",
     [](Change file) {
       file.unlink("/1");
       H5Lcreate_external("other.h5", "/", file.getId(), "/1", H5P_DEFAULT, H5P_DEFAULT);
     },
     "/1: is a link to another file, which is never followed"},
};

class hdf5_template_file_refuses : public testing::TestWithParam<Refused> {};
INSTANTIATE_TEST_SUITE_P(files, hdf5_template_file_refuses, testing::ValuesIn(refused_templates),
                         [](const auto& row) { return std::string(row.param.name); });

TEST_P(hdf5_template_file_refuses, in_one_sentence) {
  const TemporaryFolder folder;
  with_templates(folder / "templates.h5", GetParam().change);
  testing::internal::CaptureStderr();
  const std::string sentence = sentence_of([&] { read_templates(folder / "templates.h5"); });
  EXPECT_EQ(testing::internal::GetCapturedStderr(), "");
  EXPECT_THAT(sentence, HasSubstr("templates.h5"));
  EXPECT_THAT(sentence, HasSubstr(GetParam().sentence));
}

}  // namespace
}  // namespace firstedge
