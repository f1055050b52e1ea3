// The traces behind the times: a result with the pulses that a person should see.
#include "firstedge/browse/browse.hpp"
#include "firstedge/core/error.hpp"
#include "firstedge/report/report.hpp"

#include "arrays.hpp"
#include "stamp_array.hpp"
#include "stamps.hpp"
#include "texts.hpp"

#include <memory>
#include <optional>
#include <span>

#include <fmt/format.h>
#include <pybind11/stl.h>
#include <pybind11/stl/filesystem.h>

namespace firstedge::python {
namespace {

struct Browsed {
  TraceBrowser browser;
  std::vector<std::string> problems;
};

// One trace of a browser, which it keeps.
struct OneTrace {
  std::shared_ptr<const Browsed> of;
  std::size_t at = 0;
  const BrowsedTrace& trace() const { return of->browser.traces[at]; }
};

std::shared_ptr<Browsed> browse(const std::vector<std::filesystem::path>& files,
                                const std::optional<Setup>& setup, const TableLike& given,
                                const Provenance& provenance, const SurveyOptions& survey,
                                std::size_t most_traces, const std::vector<PulseTemplate>& templates) {
  constexpr std::size_t most_of_page = 2000;
  if (most_traces < 1 || most_traces > most_of_page)
    throw Error("most_traces", fmt::format("is {}", most_traces), "give 1 to 2000");
  const StampTableAt table = table_at(given, "stamps");
  const StampTableHead head = StampTableReader(table).head();
  const std::string& text = head.provenance.setup;
  const Setup chosen = setup          ? *setup
                       : text.empty() ? default_setup()
                                      : parse_setup(text, place_of(table) + ", the setup inside");
  Browse found = browse_run(files, chosen, table,
                            {.survey = survey, .most_traces = most_traces, .templates = templates});
  Result& result = found.browser.result;
  // Where the table is a file, it is the first of the inputs.
  const std::size_t of_table = std::holds_alternative<std::filesystem::path>(table) ? 1 : 0;
  result.provenance = provenance;
  result.provenance.setup = chosen.text;
  for (const std::string& warning :
       warnings_of_strangers(std::span(provenance.inputs).subspan(of_table), head.provenance))
    result.warnings.push_back(warning);
  return std::make_shared<Browsed>(Browsed{std::move(found.browser), sentences_of(found.account.problems)});
}

std::vector<OneTrace> traces_of_browser(const std::shared_ptr<const Browsed>& browsed) {
  std::vector<OneTrace> traces;
  for (std::size_t at = 0; at < browsed->browser.traces.size(); ++at) traces.push_back({browsed, at});
  return traces;
}

py::dict groups_of(const Browsed& browsed) {
  py::dict groups;
  for (const TraceGroup& group : browsed.browser.groups) groups[py::str(group.label)] = group.traces;
  return groups;
}

// A view that keeps the browser alive.
py::array seen(const OneTrace& one, const std::vector<double>& volts) {
  py::array_t<double> view(static_cast<py::ssize_t>(volts.size()), volts.data(), keeper_of(one.of));
  make_read_only(view);
  return view;
}

}  // namespace

void bind_browsing(py::module_& module) {
  py::class_<SurveyOptions>(module, "SurveyOptions", "What browse looks for; see firstedge.browse.")
      .def(py::init<>())
      .def_readwrite("method", &SurveyOptions::method)
      .def_readwrite("first", &SurveyOptions::first)
      .def_readwrite("second", &SurveyOptions::second)
      .def_readwrite("of_each_flag", &SurveyOptions::of_each_flag)
      .def_readwrite("of_each_bin", &SurveyOptions::of_each_bin)
      .def_readwrite("of_each_extreme", &SurveyOptions::of_each_extreme);
  py::class_<OneTrace>(module, "BrowsedTrace",
                       "A pulse in its trace with all that was found out about it; volts are those that "
                       "were timed (filters applied), arrays are views of shape (samples,).")
      .def_property_readonly(
          "record", [](const OneTrace& one) { return one.trace().record; }, "The number of its record.")
      .def_property_readonly(
          "channel", [](const OneTrace& one) { return one.of->browser.channels.at(one.trace().channel); },
          "The channel's name.")
      .def_property_readonly(
          "pulse", [](const OneTrace& one) { return one.trace().pulse; }, "0: the first of its trace.")
      .def_property_readonly(
          "first_sample_s", [](const OneTrace& one) { return one.trace().first_sample_s; },
          "Time of volts[0] from the trigger, s.")
      .def_property_readonly(
          "interval_s", [](const OneTrace& one) { return one.trace().interval_s; },
          "From sample to sample, s.")
      .def_property_readonly(
          "volts", [](const OneTrace& one) { return seen(one, one.trace().volts); }, "V, as it was timed.")
      .def_property_readonly(
          "recorded_volts", [](const OneTrace& one) { return seen(one, one.trace().recorded_volts); },
          "V, before the filters; of no samples where there are none.")
      .def_property_readonly(
          "fit_volts", [](const OneTrace& one) { return seen(one, one.trace().fit_volts); },
          "V, the template as it was fitted; of no samples without one.")
      .def_property_readonly(
          "stamps", [](const OneTrace& one) { return stamps_given_away(one.trace().stamps); },
          "Structured array of firstedge.STAMP, one a method; a copy.")
      .def_property_readonly(
          "other_pulses_s", [](const OneTrace& one) { return one.trace().other_pulses_s; },
          "Times of the other pulses of the stretch, s.");
  py::class_<Browsed, std::shared_ptr<Browsed>>(module, "Browsed", "See firstedge.Browser.")
      .def_property_readonly("result", [](const Browsed& browsed) { return browsed.browser.result; })
      .def_readonly("problems", &Browsed::problems)
      .def("page", [](const Browsed& browsed) { return to_page(browsed.browser); })
      .def_property_readonly("traces", [](const std::shared_ptr<Browsed>& b) { return traces_of_browser(b); })
      .def_property_readonly("groups", &groups_of);
  module.def("browse", &browse, py::call_guard<py::gil_scoped_release>(), py::arg("files"), py::arg("setup"),
             py::arg("table"), py::arg("provenance"), py::arg("survey"), py::arg("most_traces"),
             py::arg("templates"));
}

}  // namespace firstedge::python
