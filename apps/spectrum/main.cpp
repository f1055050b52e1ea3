// firstedge-spectrum: a stamp table in, pulse-height and charge spectra out; with the records, the frequency
// content too.
#include "firstedge/amplitude/amplitude.hpp"
#include "firstedge/batch/run_spectra.hpp"

#include "common/app.hpp"
#include "common/stamp_tables.hpp"

namespace {

using namespace firstedge;

struct Options {
  std::filesystem::path table, setup;
  std::vector<std::filesystem::path> records;
  AmplitudeOptions amplitude;
  ResultOutputs outputs;
};

void add_options(CLI::App& app, Options& options) {
  app.add_option("table", options.table, "Stamp table, .h5 or .csv")->required();
  app.add_option("--records", options.records,
                 "The run's own files: adds pedestals, and the spectra of signal and noise "
                 "against frequency");
  app.add_option("--setup", options.setup,
                 "Setup to read the records with; without it, the one the table was made with");
  app.add_option("--lowest-height", options.amplitude.lowest_height_v, "Lowest height that is fitted, V");
  app.add_option("--highest-height", options.amplitude.highest_height_v, "Highest height that is fitted, V");
  add_result_options(app, options.outputs);
}

int spectrum(Options& options, int argc, char** argv) {
  StampTableReader table(options.table);
  AmplitudePulses pulses(channel_names(table.head()));
  gather(table, pulses);
  ReadingAccount account;
  if (!options.records.empty()) {
    RunSpectra run = spectra_of_run(options.records, setup_for(options.setup, options.table, table.head()));
    options.amplitude.spectra = std::move(run.spectra);
    options.amplitude.pedestals = std::move(run.pedestals);
    account = std::move(run.account);
  }
  Result result = analyse_amplitude(pulses, options.amplitude);
  std::vector<std::filesystem::path> inputs = options.records;
  inputs.insert(inputs.begin(), options.table);
  result.provenance = provenance_of(argc, argv, inputs, table.head().provenance.setup);
  put_out(result, options.outputs);
  return tell_problems(app_name(argv), account);
}

}  // namespace

int main(int argc, char** argv) {
  Options options;
  CLI::App app(
      "Shows how high the pulses of each channel are: height and charge spectra with their most probable "
      "value.");
  firstedge::give_manners(app, "spectrum");
  app.footer("Example:\n  firstedge-spectrum stamps.h5 --records run.h5 --page spectrum.html");
  add_options(app, options);
  return firstedge::run_app(app, argc, argv, [&] { return spectrum(options, argc, argv); });
}
