// Records read from files: a run, its blocks and its records.
#include "records.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/io/record_reader.hpp"
#include "firstedge/io/setup.hpp"

#include "arrays.hpp"
#include "texts.hpp"
#include "traces.hpp"

#include <algorithm>
#include <map>
#include <mutex>

#include <fmt/format.h>
#include <fmt/ranges.h>
#include <pybind11/stl.h>
#include <pybind11/stl/filesystem.h>

namespace firstedge::python {
namespace {

// The records of a run, read once from the front.
class Records {
 public:
  Records(const std::vector<std::filesystem::path>& files, const Setup& setup)
      : reader_(without_lock([&] { return open_records(files, setup.input); })),
        names_(std::make_shared<const ChannelNames>(reader_->description().channels)) {}

  const RunDescription& description() const { return reader_->description(); }
  const ReadingAccount& account() const { return reader_->account(); }

  Block next(std::size_t most) {
    if (most == 0) throw Error("records_in_block", "is 0", "give at least 1");
    return {.block = without_lock([&] {
              const std::scoped_lock one_at_a_time(guard_);
              return reader_->next_block(most);
            }),
            .channels = names_};
  }

 private:
  std::unique_ptr<RecordReader> reader_;
  std::shared_ptr<const ChannelNames> names_;
  std::mutex guard_;
};

// One record of a block, whose memory it keeps.
struct OneRecord {
  Block block;
  std::size_t at = 0;
  const Record& record() const { return block.block.records[at]; }
};

OneRecord record_at(const Block& block, py::ssize_t index) {
  const auto size = static_cast<py::ssize_t>(block.block.records.size());
  if (index < 0) index += size;
  if (index < 0 || index >= size) throw py::index_error("no such record");
  return {block, static_cast<std::size_t>(index)};
}

TraceArray trace_of(const OneRecord& one, const std::string& channel) {
  const Trace& trace = one.record().traces[one.block.number_of(channel)];
  if (trace.empty())
    throw Error(fmt::format("record {}", one.record().index),
                fmt::format("has no trace of channel '{}'", channel), "ask has_trace first");
  return std::visit(
      [&](const auto& samples) {
        using Number = typename std::remove_cvref_t<decltype(samples)>::value_type;
        py::array_t<Number> counts(static_cast<py::ssize_t>(samples.size()), samples.data(),
                                   keeper_of(one.block.block.storage));
        make_read_only(counts);
        return TraceArray{.counts = counts, .traces = {trace}, .records = {one.record().index}};
      },
      trace.counts);
}

std::vector<std::string> readable_all(std::vector<std::string> texts) {
  for (std::string& text : texts) text = readable(std::move(text));
  return texts;
}

std::map<std::string, std::string> metadata_of(const Records& run) {
  std::map<std::string, std::string> metadata;
  for (const auto& [name, text] : run.description().metadata) metadata[readable(name)] = readable(text);
  return metadata;
}

py::dict account_of(const ReadingAccount& account) {
  using namespace py::literals;
  return py::dict("records_good"_a = account.records_good, "records_bad"_a = account.records_bad,
                  "traces_missing"_a = account.traces_missing, "problems"_a = sentences_of(account.problems),
                  "remarks"_a = readable_all(account.remarks));
}

void bind_run(py::module_& module) {
  py::class_<Records>(
      module, "Records",
      R"(The records of one run, read once from the front; memory depends on the block, never on the file.

Iterating gives Record after Record; blocks() gives Block after Block. Damage in a file raises nothing: it is put into
account, and the good records around it are given.)")
      .def(py::init<const std::vector<std::filesystem::path>&, const Setup&>(), py::arg("files"),
           py::arg("setup"))
      .def_property_readonly("channels", [](const Records& run) { return run.description().channels; })
      .def_property_readonly("format", [](const Records& run) { return run.description().format; })
      .def_property_readonly(
          "record_count", [](const Records& run) { return run.description().record_count; },
          "None when it takes a full read to know.")
      .def_property_readonly("files", [](const Records& run) { return run.description().files; })
      .def_property_readonly(
          "guesses", [](const Records& run) { return readable_all(run.description().guesses); },
          "One sentence a guess, with the setting that overrides it.")
      .def_property_readonly("metadata", &metadata_of)
      .def_property_readonly(
          "account", [](const Records& run) { return account_of(run.account()); },
          "What happened while reading, as a dict: records_good, records_bad, traces_missing, problems, "
          "remarks.")
      .def("next_block", &Records::next, py::arg("most") = 256,
           "The next records, at most so many; an empty block means the end.");
}

void bind_block(py::module_& module) {
  py::class_<Block>(
      module, "Block",
      R"(Some records in order. block['channel'] is a Trace of shape (records, samples), a view of what was read where the
file has it evenly in memory; records without this channel are left out (Trace.records says which are there). Raises
Error for a channel that is not in the run, or whose traces differ in size or scale.)")
      .def("__len__", [](const Block& block) { return block.block.records.size(); })
      .def("__getitem__", &record_at, py::arg("index"))
      .def("__getitem__", &block_of_channel, py::arg("channel"))
      .def_property_readonly(
          "channels", [](const Block& block) { return *block.channels; }, "Names, in the files' order.");
  py::class_<OneRecord>(module, "Record",
                        "One trigger's data. record['channel'] is its Trace, a view of what was read.")
      .def_property_readonly(
          "index", [](const OneRecord& one) { return one.record().index; },
          "From 0 over the whole run, bad records counted.")
      .def_property_readonly(
          "file", [](const OneRecord& one) { return one.record().file; }, "Position in Records.files.")
      .def_property_readonly(
          "trigger", [](const OneRecord& one) { return one.record().trigger; }, "Its Instant, or None.")
      .def_property_readonly(
          "channels", [](const OneRecord& one) { return *one.block.channels; }, "Names, in the files' order.")
      .def(
          "has_trace",
          [](const OneRecord& one, const std::string& channel) {
            return !one.record().traces[one.block.number_of(channel)].empty();
          },
          py::arg("channel"), "Whether this record has one of this channel.")
      .def("__getitem__", &trace_of, py::arg("channel"));
}

}  // namespace

std::size_t Block::number_of(const std::string& channel) const {
  const auto found = std::find(channels->begin(), channels->end(), channel);
  if (found == channels->end())
    throw Error(fmt::format("channel '{}'", channel), "is not in this run",
                fmt::format("the channels are {}", fmt::join(*channels, ", ")));
  return static_cast<std::size_t>(found - channels->begin());
}

TraceArray block_of_channel(const Block& block, const std::string& channel) {
  const std::size_t number = block.number_of(channel);
  std::vector<Trace> traces;
  std::vector<std::uint64_t> records;
  for (const Record& record : block.block.records) {
    if (record.traces[number].empty()) continue;
    traces.push_back(record.traces[number]);
    records.push_back(record.index);
  }
  if (traces.empty())
    throw Error(fmt::format("channel '{}'", channel), "has no trace in this block", "take another block");
  return joined(std::move(traces), std::move(records), keeper_of(block.block.storage));
}

void bind_records(py::module_& module) {
  bind_run(module);
  bind_block(module);
}

}  // namespace firstedge::python
