// Stamp tables: read, written, and seen as NumPy arrays.
#include "stamps.hpp"

#include "firstedge/core/error.hpp"

#include "arrays.hpp"
#include "instants.hpp"
#include "stamp_array.hpp"

#include <algorithm>
#include <array>

#include <fmt/format.h>
#include <pybind11/stl.h>
#include <pybind11/stl/filesystem.h>

namespace firstedge::python {
namespace {

constexpr std::size_t stamps_in_block = 65536;

StampTable read(const std::filesystem::path& file) {
  return without_lock([&] {
    StampTableReader reader(file);
    StampTable table{.head = reader.head(), .stamps = {}, .triggers = reader.triggers()};
    for (std::vector<Stamp> block = reader.next_block(stamps_in_block); !block.empty();
         block = reader.next_block(stamps_in_block))
      table.stamps.insert(table.stamps.end(), block.begin(), block.end());
    clear_padding(table.stamps);
    return table;
  });
}

void write(const StampTable& table, const std::filesystem::path& file) {
  without_lock([&] {
    StampTableWriter writer(file, table.head);
    writer.write(table.stamps, table.triggers);
    writer.finish();
  });
}

std::vector<Stamp> checked(const py::object& array, const StampTableHead& head) {
  const std::span<const Stamp> stamps = stamps_of(array);
  for (const Stamp& stamp : stamps) {
    if (stamp.channel >= head.channels.size() || stamp.method >= head.methods.size())
      throw Error(
          "stamps",
          fmt::format("one has channel {} and method {}, which have no name", stamp.channel, stamp.method),
          "name all channels and methods");
  }
  std::vector<Stamp> copy(stamps.begin(), stamps.end());
  clear_padding(copy);
  return copy;
}

StampTable made(const py::object& array, const std::vector<std::string>& channels,
                const std::vector<std::string>& methods, const std::string& title) {
  StampTable table;
  table.head.title = title;
  for (const std::string& name : channels) table.head.channels.push_back({.name = name, .sensor = ""});
  for (const std::string& name : methods) table.head.methods.push_back({.name = name, .settings = ""});
  table.stamps = checked(array, table.head);
  return table;
}

StampTable with_stamps(const StampTable& table, const py::object& array) {
  return {.head = table.head, .stamps = checked(array, table.head), .triggers = table.triggers};
}

// The stamps where they are; the array keeps the table alive and cannot be written.
py::array stamps_seen(const py::object& self) {
  const auto& stamps = self.cast<const StampTable&>().stamps;
  py::array view(stamp_dtype(), {static_cast<py::ssize_t>(stamps.size())},
                 {static_cast<py::ssize_t>(sizeof(Stamp))}, stamps.data(), self);
  make_read_only(view);
  return view;
}

// A trigger as an array holds it; the scale's name is padded with zeros.
struct TriggerElement {
  std::uint64_t record;
  std::int64_t seconds, femtoseconds;
  std::array<char, 8> scale;
};

py::array triggers_of(const StampTable& table) {
  py::list names, formats;
  for (const char* name : {"record", "seconds", "femtoseconds", "scale"}) names.append(name);
  for (const char* format : {"u8", "i8", "i8", "S8"}) formats.append(format);
  const auto dtype = py::dtype::from_args(py::module_::import("numpy").attr("dtype")(
      py::dict(py::arg("names") = names, py::arg("formats") = formats)));
  py::array all(dtype, std::vector<py::ssize_t>{static_cast<py::ssize_t>(table.triggers.size())});
  auto* out = static_cast<TriggerElement*>(all.mutable_data());
  for (const TriggerRow& row : table.triggers) {
    *out++ = {.record = row.record,
              .seconds = row.instant.seconds,
              .femtoseconds = row.instant.femtoseconds,
              .scale = padded_name(row.instant.scale)};
  }
  return all;
}

py::list channel_heads(const StampTable& table) {
  using namespace py::literals;
  py::list heads;
  for (const StampTableHead::Channel& channel : table.head.channels)
    heads.append(py::dict("name"_a = channel.name, "sensor"_a = channel.sensor,
                          "interval_s"_a = channel.interval_s, "load_ohm"_a = channel.load_ohm,
                          "noise_v"_a = channel.noise_v));
  return heads;
}

py::list method_heads(const StampTable& table) {
  using namespace py::literals;
  py::list heads;
  for (const StampTableHead::Method& method : table.head.methods)
    heads.append(py::dict("name"_a = method.name, "settings"_a = method.settings));
  return heads;
}

py::list flag_rows() {
  py::list rows;
  for (const FlagWords& words : flag_table)
    rows.append(py::make_tuple(std::string(words.name), static_cast<std::uint32_t>(words.flag),
                               std::string(words.sentence)));
  return rows;
}

}  // namespace

std::vector<std::string> StampTable::channels() const {
  std::vector<std::string> names;
  for (const StampTableHead::Channel& channel : head.channels) names.push_back(channel.name);
  return names;
}

std::vector<std::string> StampTable::methods() const {
  std::vector<std::string> names;
  for (const StampTableHead::Method& method : head.methods) names.push_back(method.name);
  return names;
}

StampTableAt table_at(const TableLike& table, const std::string& name) {
  if (const auto* file = std::get_if<std::filesystem::path>(&table)) return *file;
  const StampTable* const stamps = std::get<const StampTable*>(table);
  if (stamps == nullptr) throw Error(name, "is None", "give a stamp table or its file");
  return StampTableInMemory{
      .name = name, .head = &stamps->head, .stamps = stamps->stamps, .triggers = stamps->triggers};
}

void bind_stamps(py::module_& module) {
  py::class_<StampTable>(module, "StampTable", "A stamp table in memory; see firstedge.Stamps.")
      .def(py::init(&made), py::arg("stamps"), py::arg("channels"), py::arg("methods"), py::arg("title") = "")
      .def_static("read", &read, py::arg("file"))
      .def("write", &write, py::arg("file"))
      .def("with_stamps", &with_stamps, py::arg("stamps"))
      .def_property_readonly("array", &stamps_seen)
      .def_property_readonly("triggers", &triggers_of)
      .def_property_readonly("channels", &StampTable::channels)
      .def_property_readonly("methods", &StampTable::methods)
      .def_property_readonly("channel_heads", &channel_heads)
      .def_property_readonly("method_heads", &method_heads)
      .def_property_readonly("title", [](const StampTable& table) { return table.head.title; })
      .def_property_readonly("setup", [](const StampTable& table) { return table.head.provenance.setup; })
      .def_property_readonly("delays_taken_out",
                             [](const StampTable& table) { return !table.head.applied_delays.empty(); });
  module.attr("STAMP") = stamp_dtype();
  module.attr("flag_table") = flag_rows();
  module.def(
      "flag_words", [](std::uint32_t bits) { return to_text(FlagSet::from_bits(bits)); }, py::arg("bits"));
}

}  // namespace firstedge::python
