// firstedge-inspect: what was recorded, in ten seconds.
#include "firstedge/inspect/inspect.hpp"

#include "common/app.hpp"

namespace {

using namespace firstedge;

struct Options {
  std::vector<std::filesystem::path> files;
  std::filesystem::path setup;
  InspectOptions inspect;
  ResultOutputs outputs;
};

int inspect(const Options& options, int argc, char** argv) {
  const Setup setup = options.setup.empty() ? default_setup() : read_setup(options.setup);
  std::vector<std::filesystem::path> inputs = options.files;
  inputs.insert(inputs.end(), options.inspect.against.begin(), options.inspect.against.end());
  const Inspection inspection =
      inspect_run(options.files, setup, provenance_of(argc, argv, inputs, setup.text), options.inspect);
  put_out(inspection.result, options.outputs);
  return tell_problems(app_name(argv), inspection.account);
}

}  // namespace

int main(int argc, char** argv) {
  Options options;
  CLI::App app("Says what was recorded: channels, range, baseline, noise, pulses, and what is doubtful.");
  firstedge::give_manners(app, "inspect");
  app.footer("Example:\n  firstedge-inspect run.h5 --page overview.html");
  app.add_option("files", options.files, "Files or folders of one run, in order")->required();
  app.add_option("--setup", options.setup,
                 "The Setup (JSON); without it, what can be guessed is guessed and told");
  app.add_option("--records", options.inspect.most_records, "Records to look at, from the start")
      ->check(CLI::PositiveNumber);
  app.add_option("--against", options.inspect.against,
                 "Files of another run that the noise is held against: spectra, lines, ratio in dB");
  firstedge::add_result_options(app, options.outputs);
  return firstedge::run_app(app, argc, argv, [&] { return inspect(options, argc, argv); });
}
