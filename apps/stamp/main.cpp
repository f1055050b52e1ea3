// firstedge-stamp: recorded traces in, a table of arrival times out.
#include "firstedge/batch/run.hpp"
#include "firstedge/io/template_file.hpp"

#include "common/app.hpp"

#include <fmt/format.h>

namespace {

using namespace firstedge;

struct Options {
  std::vector<std::filesystem::path> files;
  std::filesystem::path setup, table = "stamps.h5", templates, keep_templates;
  RunOptions run;
  ResultOutputs outputs;
};

void add_options(CLI::App& app, Options& options) {
  app.add_option("files", options.files, "Files or folders of one run, in order")->required();
  app.add_option("--setup", options.setup,
                 "The Setup (JSON): channels, conditioning, methods; without it, defaults");
  app.add_option("-o,--output", options.table, "Stamp table to write: .h5 or .csv");
  app.add_option("--templates", options.templates, "Pulse templates to use in place of learning them");
  app.add_option("--keep-templates", options.keep_templates, "Write the templates in use to this file");
  app.add_option("--threads", options.run.threads, "Threads; 0 takes all processors")
      ->check(CLI::Range(0, 1024));
  add_result_options(app, options.outputs);
}

int stamp(Options& options, int argc, char** argv) {
  const Setup setup = options.setup.empty() ? default_setup() : read_setup(options.setup);
  if (!options.templates.empty()) options.run.templates = read_templates(options.templates);
  const Provenance provenance = provenance_of(argc, argv, options.files, setup.text);

  RunSummary summary;
  {
    ProgressLine progress("stamping");
    options.run.progress = [&](std::uint64_t records, auto share) { progress.show(records, share); };
    summary = stamp_run(options.files, setup, options.table, provenance, options.run);
  }
  if (!options.keep_templates.empty()) {
    std::vector<PulseTemplate> templates;
    for (const LearntChannel& channel : summary.channels) {
      if (channel.pulse_template) templates.push_back(*channel.pulse_template);
    }
    write_templates(options.keep_templates, templates);
  }
  put_out(summary_of(summary, provenance), options.outputs);
  return tell_problems(app_name(argv), summary.account);
}

}  // namespace

int main(int argc, char** argv) {
  Options options;
  CLI::App app(
      "Turns recorded traces into arrival times with standard uncertainties, one row a pulse and method.");
  firstedge::give_manners(app, "stamp");
  app.footer("Example:\n  firstedge-stamp run.h5 --setup bench.json -o stamps.h5 --page stamps.html");
  add_options(app, options);
  return firstedge::run_app(app, argc, argv, [&] { return stamp(options, argc, argv); });
}
