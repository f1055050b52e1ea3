#include "firstedge/browse/browse.hpp"

#include "firstedge/browse/browse_result.hpp"
#include "firstedge/browse/cut_traces.hpp"
#include "firstedge/core/error.hpp"

#include <algorithm>

#include <fmt/format.h>

namespace firstedge {
namespace {

StampTableHead checked_head(const StampTableAt& table) {
  const StampTableReader reader(table);
  const StampTableHead& head = reader.head();
  if (reader.size() == 0) throw Error(place_of(table), "holds no stamp", "stamp a run that has pulses");
  if (!head.applied_delays.empty()) {
    throw Error(place_of(table),
                "has times that delays were taken out of, so that they do not fit the traces",
                "give the table as firstedge-stamp wrote it");
  }
  return head;
}

CutRequest request_for(const StampTableHead& head, const Survey& survey, const Setup& setup,
                       const StampTableAt& table, const BrowseOptions& options) {
  CutRequest request{.pulses = taken_by_turns(shortlists_of(survey), options.most_traces),
                     .stamps = {},
                     .channels = {},
                     .method = survey.method};
  if (request.pulses.empty()) {
    throw Error(place_of(table),
                fmt::format("has no pulse of the method '{}' to choose", head.methods[survey.method].name),
                "name another method, or have more than none chosen");
  }
  request.stamps = stamps_of_traces(table, request.pulses);
  for (const StampTableHead::Channel& channel : head.channels) request.channels.push_back(channel.name);
  // The fit shown is that of the method itself, or of the first that fits a template.
  const auto fits = [](const StampTableHead::Method& method) { return method.name.starts_with("template_"); };
  const auto first_fit = std::find_if(head.methods.begin(), head.methods.end(), fits);
  request.draws_fit = first_fit != head.methods.end();
  request.fit_method = fits(head.methods[survey.method])
                           ? survey.method
                           : static_cast<std::size_t>(first_fit - head.methods.begin());

  const bool filtered = std::any_of(request.channels.begin(), request.channels.end(),
                                    [&](const auto& name) { return !setup.channel(name).filters.empty(); });
  const std::size_t curves = std::size_t{1} + (request.draws_fit ? 1 : 0) + (filtered ? 1 : 0);
  constexpr std::size_t longest = 1000;
  request.most_samples =
      std::clamp<std::size_t>(options.most_values / (curves * request.pulses.size()), 2, longest);
  return request;
}

}  // namespace

Browse browse_run(const std::vector<std::filesystem::path>& files, const Setup& setup,
                  const StampTableAt& table, const BrowseOptions& options) {
  const StampTableHead head = checked_head(table);
  const Survey survey = survey_table(table, options.survey);
  const CutRequest request = request_for(head, survey, setup, table, options);
  CutTraces cut = cut_traces(files, setup, options.templates, request);
  if (cut.traces.empty()) {
    throw Error(files.front().string(), "holds none of the records that were chosen from the stamp table",
                "give the files that the table was made from");
  }
  Browse browse;
  browse.account = std::move(cut.account);
  TraceBrowser& browser = browse.browser;
  browser.channels = request.channels;
  for (const StampTableHead::Method& method : head.methods) browser.methods.push_back(method.name);
  browser.method = survey.method;
  browser.traces = std::move(cut.traces);
  show_survey(browser, survey, options.survey, request.pulses.size());
  return browse;
}

std::vector<std::string> warnings_of_strangers(std::span<const Provenance::Input> files,
                                               const Provenance& of_table) {
  std::vector<std::string> warnings;
  if (of_table.inputs.empty()) return warnings;
  for (const Provenance::Input& file : files) {
    const bool known = std::any_of(of_table.inputs.begin(), of_table.inputs.end(),
                                   [&](const auto& one) { return one.sha256 == file.sha256; });
    if (!known) warnings.push_back(file.name + " is not among the files that the stamp table was made from.");
  }
  return warnings;
}

}  // namespace firstedge
