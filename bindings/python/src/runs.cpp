// Whole runs from files: stamping, and the analyses that go back to the records.
#include "firstedge/batch/compare_run.hpp"
#include "firstedge/batch/merged_parts.hpp"
#include "firstedge/batch/run.hpp"
#include "firstedge/batch/run_budget.hpp"
#include "firstedge/batch/run_delay.hpp"
#include "firstedge/budget/budget.hpp"
#include "firstedge/core/error.hpp"
#include "firstedge/core/threads.hpp"
#include "firstedge/inspect/inspect.hpp"
#include "firstedge/io/input_digests.hpp"
#include "firstedge/io/template_file.hpp"

#include "bindings.hpp"
#include "interruptible.hpp"
#include "texts.hpp"

#include <cstdint>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <utility>

#include <fmt/format.h>
#include <pybind11/functional.h>
#include <pybind11/stl.h>
#include <pybind11/stl/filesystem.h>

namespace firstedge::python {
namespace {

using Files = std::vector<std::filesystem::path>;
/// A result, and the sentences on what was damaged in the files.
using Found = std::pair<Result, std::vector<std::string>>;

struct StampedRun {
  Result result;
  std::vector<std::string> problems;
  std::vector<PulseTemplate> templates;
};

/// Part (k, K) of a run.
using Part = std::pair<std::int64_t, std::int64_t>;

std::optional<RecordPart> record_part(const std::optional<Part>& part) {
  if (!part) return std::nullopt;
  const auto [number, of] = *part;
  if (number < 1 || of < 1)
    throw Error(fmt::format("part ({}, {})", number, of), "is not a part", "give (k, K) with k from 1 to K");
  return RecordPart{.number = static_cast<std::uint64_t>(number), .of = static_cast<std::uint64_t>(of)};
}

// provenance: without the inputs, which are digested beside the run. journal: kept beside the table, and what
// is found there goes to `tell`.
StampedRun stamp(const Files& files, const Setup& setup, const std::filesystem::path& table,
                 Provenance provenance, int threads, const std::vector<PulseTemplate>& templates,
                 const std::optional<Part>& part, bool journal,
                 const std::function<void(const std::string&)>& tell, const py::object& told) {
  if (threads < 0) throw Error("threads", "is below 0", "give a number of threads, or 0 for all processors");
  RunOptions options{.threads = threads,
                     .templates = templates,
                     .part = record_part(part),
                     .journal = journal,
                     .digests = nullptr,
                     .tell = tell,
                     .progress = {}};
  RunSummary summary = interruptible(told, [&](const auto& progress) {
    const ThreadLimit limit(threads);
    options.progress = progress;
    options.digests = std::make_shared<InputDigests>(files);
    provenance.inputs = options.digests->names();
    RunSummary made = stamp_run(files, setup, table, provenance, options);
    provenance.inputs = options.digests->wait();
    return made;
  });
  StampedRun run{.result = summary_of(summary, provenance),
                 .problems = sentences_of(summary.account.problems),
                 .templates = {}};
  for (const LearntChannel& channel : summary.channels)
    if (channel.pulse_template) run.templates.push_back(*channel.pulse_template);
  return run;
}

Result merge(const Files& parts, const std::filesystem::path& table, const Provenance& provenance) {
  const MergedTable merged = merge_stamp_tables(parts, table);
  Result result = merging_result(merged, table);
  result.provenance = provenance;
  result.provenance.setup = merged.head.provenance.setup;
  return result;
}

Found compare(const Files& files, const Setup& setup, const std::string& first, const std::string& second,
              const std::optional<std::string>& bare, const std::optional<std::string>& amplified,
              const CandidatePlan& plan, std::uint32_t allowed_flags, std::uint64_t most_records, int threads,
              std::uint64_t seed, const py::object& told) {
  CompareRunOptions options{.plan = plan};
  options.first = first;
  options.second = second;
  options.bare = bare;
  options.amplified = amplified;
  options.allowed_flags = FlagSet::from_bits(allowed_flags);
  options.most_records = most_records;
  options.threads = threads;
  options.compare.bootstrap.seed = seed;
  CompareRun run = interruptible(told, [&](const auto& progress) {
    options.progress = progress;
    return compare_run(files, setup, options);
  });
  return {std::move(run.result), sentences_of(run.account.problems)};
}

Found budget(const Files& files, const Setup& setup, const std::string& first, const std::string& second,
             const std::string& method, std::uint64_t most_records, std::uint64_t seed) {
  BudgetOptions options;
  options.bootstrap.seed = seed;
  const RunBudget run = budget_of_run(
      files, setup, {.first = first, .second = second, .method = method, .most_records = most_records});
  return {analyse_budget(run.pair, options), sentences_of(run.account.problems)};
}

Found through(const Files& files, const Setup& setup, const std::string& before, const std::string& after,
              const Files& files_after, std::uint64_t most_records) {
  const ThroughRun run = through_of_run(
      files, setup,
      {.before = before, .after = after, .files_after = files_after, .most_records = most_records});
  return {analyse_through(run.data), sentences_of(run.account.problems)};
}

Found reflection(const Files& files, const Setup& setup, const std::string& channel, const std::string& end,
                 std::optional<double> cut_s, double impedance_ohm, std::uint64_t most_records) {
  using End = ReflectionOptions::End;
  ReflectionOptions options{.cut_s = cut_s, .impedance_ohm = impedance_ohm};
  if (end == "shorted")
    options.end = End::shorted;
  else if (end == "matched")
    options.end = End::matched;
  else if (end != "open")
    throw Error("end '" + end + "'", "is no end of a cable", "name open, shorted or matched");
  const ReflectionRun run =
      reflection_of_run(files, setup, {.channel = channel, .most_records = most_records});
  Result result = analyse_reflection(run.average, options);
  result.figures.push_back({"left_out", "Records left out", {static_cast<double>(run.left_out), -1}, ""});
  return {std::move(result), sentences_of(run.account.problems)};
}

Found inspect(const Files& files, const Setup& setup, const Provenance& provenance,
              std::uint64_t most_records, const Files& against) {
  Inspection inspection =
      inspect_run(files, setup, provenance, {.most_records = most_records, .against = against});
  return {std::move(inspection.result), sentences_of(inspection.account.problems)};
}

void bind_candidates(py::module_& module) {
  py::class_<CandidatePlan>(
      module, "CandidatePlan",
      "What compare tries; shares of each channel's own pulses (see firstedge.compare).")
      .def(py::init<>())
      .def_readwrite("thresholds", &CandidatePlan::thresholds)
      .def_readwrite("walks", &CandidatePlan::walks)
      .def_readwrite("fractions", &CandidatePlan::fractions)
      .def_readwrite("delayed_fractions", &CandidatePlan::delayed_fractions)
      .def_readwrite("delays", &CandidatePlan::delays)
      .def_readwrite("template_fit", &CandidatePlan::template_fit)
      .def_readwrite("template_family", &CandidatePlan::template_family)
      .def_readwrite("cuts", &CandidatePlan::cuts);
}

}  // namespace

void bind_runs(py::module_& module) {
  bind_candidates(module);
  const py::call_guard<py::gil_scoped_release> released;
  py::class_<StampedRun>(module, "StampedRun", "What stamping a run left beside its table.")
      .def_readonly("result", &StampedRun::result)
      .def_readonly("problems", &StampedRun::problems)
      .def_readonly("templates", &StampedRun::templates);
  module.def("stamp", &stamp, py::arg("files"), py::arg("setup"), py::arg("table"), py::arg("provenance"),
             py::arg("threads"), py::arg("templates"), py::arg("part"), py::arg("journal"), py::arg("tell"),
             py::arg("progress"));
  module.def("merge", &merge, released, py::arg("parts"), py::arg("table"), py::arg("provenance"));
  module.def("compare", &compare, py::arg("files"), py::arg("setup"), py::arg("first"), py::arg("second"),
             py::arg("bare"), py::arg("amplified"), py::arg("plan"), py::arg("allowed_flags"),
             py::arg("most_records"), py::arg("threads"), py::arg("seed"), py::arg("progress"));
  module.def("budget", &budget, released, py::arg("files"), py::arg("setup"), py::arg("first"),
             py::arg("second"), py::arg("method"), py::arg("most_records"), py::arg("seed"));
  module.def("through", &through, released, py::arg("files"), py::arg("setup"), py::arg("before"),
             py::arg("after"), py::arg("files_after"), py::arg("most_records"));
  module.def("reflection", &reflection, released, py::arg("files"), py::arg("setup"), py::arg("channel"),
             py::arg("end"), py::arg("cut_s"), py::arg("impedance_ohm"), py::arg("most_records"));
  module.def("inspect", &inspect, released, py::arg("files"), py::arg("setup"), py::arg("provenance"),
             py::arg("most_records"), py::arg("against"));
}

}  // namespace firstedge::python
