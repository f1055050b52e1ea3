// firstedge-traces: a run and its stamp table in; a page to look at the traces behind the times out.
#include "firstedge/browse/browse.hpp"
#include "firstedge/io/template_file.hpp"
#include "firstedge/report/report.hpp"

#include "common/app.hpp"
#include "common/stamp_tables.hpp"

#include <span>

namespace {

using namespace firstedge;

struct Options {
  std::vector<std::filesystem::path> files;
  std::filesystem::path table, setup, templates;
  std::string pair;
  BrowseOptions browse;
  ResultOutputs outputs;
};

void add_options(CLI::App& app, Options& options) {
  SurveyOptions& survey = options.browse.survey;
  app.add_option("files", options.files, "Files or folders of one run, in order")->required();
  app.add_option("--stamps", options.table, "Stamp table of this run, .h5 or .csv")->required();
  app.add_option("--setup", options.setup,
                 "Setup to read the records with; without it, the one the table was made with");
  app.add_option("--templates", options.templates, "Pulse templates, if the table was made with given ones");
  app.add_option("--method", survey.method,
                 "Timing method that plots and lists go by; without it, the first that fits a template");
  app.add_option("--pair", options.pair, "Two channels as first,second; without it, the first two");
  app.add_option("--of-each-flag", survey.of_each_flag, "Pulses chosen of every flag of a channel")
      ->check(CLI::Range(0, 1000));
  app.add_option("--of-each-bin", survey.of_each_bin, "Pulses chosen of every bin")
      ->check(CLI::Range(0, 1000));
  app.add_option("--of-each-extreme", survey.of_each_extreme, "Pulses chosen at every extreme")
      ->check(CLI::Range(0, 1000));
  app.add_option("--traces", options.browse.most_traces, "Traces on the page, at most")
      ->check(CLI::Range(1, 2000));
  add_result_options(app, options.outputs);
}

int traces(Options& options, int argc, char** argv) {
  if (!options.pair.empty()) {
    std::tie(options.browse.survey.first, options.browse.survey.second) = pair_named(options.pair);
  }
  if (!options.templates.empty()) options.browse.templates = read_templates(options.templates);
  const StampTableHead head = StampTableReader(options.table).head();
  const Setup setup = setup_for(options.setup, options.table, head);
  Browse browse = browse_run(options.files, setup, options.table, options.browse);
  Result& result = browse.browser.result;
  std::vector<std::filesystem::path> inputs = options.files;
  inputs.insert(inputs.begin(), options.table);
  result.provenance = provenance_of(argc, argv, inputs, setup.text);
  for (const std::string& warning :
       warnings_of_strangers(std::span(result.provenance.inputs).subspan(1), head.provenance))
    result.warnings.push_back(warning);
  if (!options.outputs.page.empty()) write_whole(options.outputs.page, to_page(browse.browser));
  options.outputs.page.clear();
  put_out(result, options.outputs);
  return tell_problems(app_name(argv), browse.account);
}

}  // namespace

int main(int argc, char** argv) {
  Options options;
  CLI::App app(
      "Shows the traces behind the times: a page on which bins, points and flags lead to the recorded "
      "pulses, with "
      "baseline, crossing, template and residual, and two cursors to measure with.");
  firstedge::give_manners(app, "traces");
  app.footer("Example:\n  firstedge-traces run.h5 --stamps stamps.h5 --page traces.html");
  add_options(app, options);
  return firstedge::run_app(app, argc, argv, [&] { return traces(options, argc, argv); });
}
