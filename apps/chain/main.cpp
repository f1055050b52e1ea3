// firstedge-chain: stamps and a Setup in; stamps with the delays of their chains taken out, and the budget,
// out.
#include "firstedge/chain/chain.hpp"
#include "firstedge/core/error.hpp"
#include "firstedge/io/setup.hpp"

#include "common/app.hpp"
#include "common/stamp_tables.hpp"

namespace {

using namespace firstedge;

struct Options {
  std::filesystem::path table, setup, output;
  std::string date;
  bool flag_expired = false, put_back = false;
  ChainOptions chain;
  ResultOutputs outputs;
};

void add_options(CLI::App& app, Options& options) {
  app.add_option("table", options.table, "Stamp table, .h5 or .csv; without it, the budget alone");
  app.add_option("--setup", options.setup, "The Setup (JSON) with elements and chains");
  app.add_option("-o,--output", options.output, "Stamp table to write: the same stamps without the delays");
  app.add_option("--date", options.date,
                 "Date of the records, where they have no trigger instants: 2026-11-02 or ISO 8601");
  app.add_flag("--flag-expired", options.flag_expired,
               "Where no calibration is valid, use the nearest and flag the stamps, instead of an error");
  app.add_flag("--put-back", options.put_back, "Put back what was taken out of this table, instead");
  app.add_option("--seed", options.chain.budget.seed, "Seed of the Monte Carlo");
  add_result_options(app, options.outputs);
}

RunDates dates_of(const Options& options, StampTableReader* table) {
  RunDates dates;
  constexpr std::size_t day_only = 10;
  if (!options.date.empty())
    dates.otherwise =
        parse_instant(options.date.size() == day_only ? options.date + "T00:00:00Z" : options.date,
                      TimeScale::utc, "--date");
  if (table != nullptr) {
    for (const TriggerRow& row : table->triggers()) dates.triggers.push_back({row.record, row.instant});
  }
  return dates;
}

// Every stamp of the table through `change`, block by block, into the output.
template <class Change>
void rewrite(StampTableReader& table, const std::filesystem::path& output, const StampTableHead& head,
             Change&& change) {
  constexpr std::size_t block_size = 65536;
  StampTableWriter writer(output, head);
  const std::vector<TriggerRow> triggers = table.triggers();
  writer.write({}, triggers);
  for (std::vector<Stamp> block = table.next_block(block_size); !block.empty();
       block = table.next_block(block_size))
    writer.write(change(block));
  writer.finish();
}

int put_back(const Options& options, int argc, char** argv) {
  if (options.table.empty() || options.output.empty())
    throw Error("--put-back", "needs a table and an output", "give a stamp table and -o FILE");
  StampTableReader table(options.table);
  StampTableHead head = table.head();
  if (head.applied_delays.empty())
    throw Error(options.table.string(), "no delays were taken out of this table",
                "give one of firstedge-chain's");
  const std::vector<AppliedDelay> delays = std::move(head.applied_delays);
  head.applied_delays.clear();
  head.provenance = provenance_of(argc, argv, {options.table}, head.provenance.setup);
  const std::vector<std::string> channels = channel_names(head);
  rewrite(table, options.output, head,
          [&](std::span<const Stamp> block) { return with_delays_back(block, channels, delays); });
  return 0;
}

int chain(const Options& options, int argc, char** argv) {
  if (options.put_back) return put_back(options, argc, argv);
  if (options.setup.empty()) throw Error("--setup", "is missing", "give the Setup with elements and chains");
  const Setup setup = read_setup(options.setup);
  const Station station{.name = setup.title,
                        .elements = setup.elements,
                        .chains = setup.chains(),
                        .temperature_c = setup.temperature_c};
  std::optional<StampTableReader> table;
  if (!options.table.empty()) table.emplace(options.table);
  if (table && !table->head().applied_delays.empty())
    throw Error(options.table.string(), "delays were taken out of this table already",
                "put them back first (--put-back), or take the table before");
  if (!table && !options.output.empty())
    throw Error("--output", "has no stamps to write", "give a stamp table");

  std::vector<std::string> channels;
  if (table) {
    channels = channel_names(table->head());
  } else {
    for (const Chain& one : station.chains) channels.push_back(one.channel);
  }
  const DelayPlan plan = plan_delays(channels, station, dates_of(options, table ? &*table : nullptr),
                                     options.flag_expired ? ExpiredPolicy::flag : ExpiredPolicy::refuse);
  Result result = analyse_chains(plan, options.chain);
  std::vector<std::filesystem::path> inputs{options.setup};
  if (table) inputs.push_back(options.table);
  result.provenance = provenance_of(argc, argv, inputs, setup.text);
  if (!options.output.empty()) {
    StampTableHead head = table->head();
    head.applied_delays = plan.delays;
    head.provenance = result.provenance;
    rewrite(*table, options.output, head,
            [&](std::span<const Stamp> block) { return with_delays_out(block, channels, plan.delays); });
  }
  put_out(result, options.outputs);
  return 0;
}

}  // namespace

int main(int argc, char** argv) {
  Options options;
  CLI::App app("Takes the delays of cables and boxes out of stamps, and says how well they are known.");
  firstedge::give_manners(app, "chain");
  app.footer(
      "Example:\n  firstedge-chain stamps.h5 --setup station.setup.json -o arrivals.h5 --page chain.html");
  add_options(app, options);
  return firstedge::run_app(app, argc, argv, [&] { return chain(options, argc, argv); });
}
