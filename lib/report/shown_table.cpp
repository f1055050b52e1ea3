#include "firstedge/report/shown_table.hpp"

#include "firstedge/core/units.hpp"
#include "firstedge/report/words.hpp"

#include <algorithm>
#include <cmath>
#include <optional>
#include <utility>

#include <fmt/format.h>

namespace firstedge {
namespace {

constexpr double widest_span = 1e5;    // of one column with one prefix
constexpr int digits_of_largest = 5;   // of a quantity without uncertainty
constexpr int digits_of_plain = 4;     // of a plain number or a share without uncertainty
constexpr int digits_of_smallest = 2;  // so that a small neighbour is not rounded to nothing
constexpr double exact_whole = 1e15;   // whole numbers below this are held exactly by a double

struct Spread {
  double largest = 0, smallest = 0;  // magnitudes, zeros left out; 0 if there is none
  double lowest = 0, highest = 0;    // of the values without uncertainty
  bool whole = true;                 // only whole numbers without uncertainty
};

std::optional<Estimate> number_in(const Table::Cell& cell) {
  if (const auto* estimate = std::get_if<Estimate>(&cell)) return *estimate;
  if (const auto* value = std::get_if<double>(&cell)) return Estimate{.value = *value, .uncertainty = -1};
  return std::nullopt;
}

bool has_uncertainty(const Estimate& estimate) {
  return estimate.uncertainty > 0 && std::isfinite(estimate.uncertainty);
}

Spread spread_of(const std::vector<Table::Cell>& cells) {
  Spread spread;
  bool plain = false;
  for (const Table::Cell& cell : cells) {
    const auto number = number_in(cell);
    if (!number || !std::isfinite(number->value)) continue;
    const bool estimated = has_uncertainty(*number);
    // An estimate is as large as its larger part: (0.0 ± 2.0) ps is a matter of picoseconds.
    const double magnitude = std::max(std::abs(number->value), estimated ? number->uncertainty : 0.0);
    if (estimated || std::trunc(magnitude) != magnitude || magnitude >= exact_whole) spread.whole = false;
    if (!estimated) {
      spread.lowest = plain ? std::min(spread.lowest, number->value) : number->value;
      spread.highest = plain ? std::max(spread.highest, number->value) : number->value;
      plain = true;
    }
    if (magnitude == 0) continue;
    spread.largest = std::max(spread.largest, magnitude);
    spread.smallest = spread.smallest == 0 ? magnitude : std::min(spread.smallest, magnitude);
  }
  return spread;
}

// Decimals of a number given to so many digits, without the zeros at its end.
int decimals_needed(double value, int digits) {
  const std::string text = fmt::format("{:.{}e}", value, digits - 1);
  const std::size_t e = text.find('e');
  const std::size_t last = text.find_last_not_of('0', e - 1);
  const int given = text[last] == '.' ? 0 : static_cast<int>(last) - static_cast<int>(text.find('.'));
  const int exponent = std::stoi(text.substr(e + 1));
  return std::max(0, std::max(given, 0) - exponent);
}

// Decimals of the values without uncertainty: by the largest; by the smallest, unless shares of a whole, of
// which a small one does not matter; and so that values close together are told apart.
int plain_decimals(const std::vector<Table::Cell>& cells, const Spread& spread, double factor,
                   const std::string& unit) {
  const auto place = [&](double value, int digits) {
    return digits - 1 - static_cast<int>(std::floor(std::log10(value / factor)));
  };
  if (spread.largest == 0) return 0;
  const bool share = unit == "%";
  int most = std::max(0, place(spread.largest, takes_prefix(unit) ? digits_of_largest : digits_of_plain));
  if (!share) most = std::max(most, place(spread.smallest, digits_of_smallest));
  constexpr double rounding = 1e-7;  // of the largest: what differs by less is the same
  constexpr int digits_of_range = 2;
  const double range = spread.highest - spread.lowest;
  if (range > rounding * spread.largest) most = std::max(most, place(range, digits_of_range));
  int needed = 0;
  for (const Table::Cell& cell : cells) {
    const auto number = number_in(cell);
    if (!number || !std::isfinite(number->value) || number->value == 0 || has_uncertainty(*number)) continue;
    const double scaled = std::abs(number->value) / factor;
    const int digits = most + 1 + static_cast<int>(std::floor(std::log10(scaled)));
    if (digits >= 1) needed = std::max(needed, std::min(most, decimals_needed(scaled, digits)));
  }
  return needed;
}

ShownNumber split_at_point(const std::string& number) {
  const std::size_t point = std::min(number.find('.'), number.size());
  return {number.substr(0, point), number.substr(point)};
}

ShownCell number_cell(const Estimate& estimate, double factor, int decimals) {
  if (std::isnan(estimate.value)) return {.words = "-"};
  if (std::isinf(estimate.value)) return {.words = estimate.value > 0 ? "inf" : "-inf"};
  const double value = estimate.value / factor;
  if (!has_uncertainty(estimate)) return {.value = split_at_point(format_decimals(value, decimals))};
  const int place = decimals_for(estimate.uncertainty / factor);
  return {.value = split_at_point(format_decimals(value, place)),
          .uncertainty = split_at_point(format_decimals(estimate.uncertainty / factor, place))};
}

// A column on its way to being shown.
struct Plan {
  std::string label, unit;
  std::vector<Table::Cell> cells;
  Spread spread;
  bool counts = false;  // whole numbers in full
  bool mixed = false;   // each cell with a prefix of its own
  ShownScale scale;

  bool has_prefix() const { return !counts && !mixed && takes_prefix(unit); }
};

Plan plan_of(const Table::Column& head, std::vector<Table::Cell> cells) {
  Plan plan{.label = clean_words(head.label), .unit = clean_words(head.unit), .cells = std::move(cells)};
  plan.spread = spread_of(plan.cells);
  plan.counts = plan.spread.whole && !takes_prefix(plan.unit);
  plan.mixed = !plan.counts && plan.unit != "%" && plan.spread.smallest > 0 &&
               plan.spread.largest / plan.spread.smallest > widest_span;
  plan.scale = plan.counts || plan.mixed ? ShownScale{1, plan.mixed ? "" : unit_symbol(plan.unit)}
                                         : shown_scale(plan.spread.largest, plan.unit);
  return plan;
}

// The prefix for columns whose largest numbers lie between these: that of the largest if the least is a tenth
// at least, else that of the least if the largest has four digits at most, else none.
std::optional<ShownScale> common_scale(double least, double largest, const std::string& unit) {
  constexpr double smallest_shown = 0.1, largest_shown = 1e4;
  const ShownScale of_largest = shown_scale(largest, unit), of_least = shown_scale(least, unit);
  if (least >= smallest_shown * of_largest.factor) return of_largest;
  if (largest < largest_shown * of_least.factor) return of_least;
  return std::nullopt;
}

// Columns of one unit beside each other are read together: as many as one prefix suits. One without a number
// other than 0 joins any.
struct Group {
  std::size_t columns = 1;
  ShownScale scale;
};

Group group_from(const std::vector<Plan>& plans, std::size_t first) {
  Group group{.columns = 1, .scale = plans[first].scale};
  if (!plans[first].has_prefix()) return group;
  double least = plans[first].spread.largest, largest = least;
  for (std::size_t at = first + 1; at < plans.size(); ++at) {
    if (!plans[at].has_prefix() || plans[at].unit != plans[first].unit) break;
    const double size = plans[at].spread.largest;
    if (size > 0) {
      const double low = least > 0 ? std::min(least, size) : size, high = std::max(largest, size);
      const auto common = common_scale(low, high, plans[at].unit);
      if (!common) break;
      group.scale = *common;
      least = low;
      largest = high;
    }
    ++group.columns;
  }
  return group;
}

void share_prefixes(std::vector<Plan>& plans) {
  for (std::size_t first = 0; first < plans.size();) {
    const Group group = group_from(plans, first);
    for (std::size_t at = 0; at < group.columns; ++at) plans[first + at].scale = group.scale;
    first += group.columns;
  }
}

// A column of zeros or dashes takes the prefix of the nearest column of its unit.
void lend_prefixes(std::vector<Plan>& plans) {
  for (std::size_t at = 0; at < plans.size(); ++at) {
    if (!plans[at].has_prefix() || plans[at].spread.largest > 0) continue;
    std::size_t nearest = plans.size(), least_away = plans.size();
    for (std::size_t other = 0; other < plans.size(); ++other) {
      const bool lends =
          plans[other].has_prefix() && plans[other].unit == plans[at].unit && plans[other].spread.largest > 0;
      const std::size_t away = other > at ? other - at : at - other;
      if (!lends || away >= least_away) continue;
      nearest = other;
      least_away = away;
    }
    if (nearest < plans.size()) plans[at].scale = plans[nearest].scale;
  }
}

ShownColumn shown_column(const Plan& plan) {
  const int decimals =
      plan.mixed || plan.counts ? 0 : plain_decimals(plan.cells, plan.spread, plan.scale.factor, plan.unit);
  ShownColumn column{.label = plan.label, .unit = plan.cells.empty() ? "" : plan.scale.unit};
  for (const Table::Cell& cell : plan.cells) {
    const auto number = number_in(cell);
    if (number) column.numeric = true;
    if (!number) {
      column.cells.push_back({.words = clean_words(std::get<std::string>(cell))});
    } else if (plan.mixed) {
      column.cells.push_back({.words = format_estimate(*number, plan.unit)});
    } else {
      column.cells.push_back(number_cell(*number, plan.scale.factor, decimals));
    }
  }
  return column;
}

}  // namespace

ShownScale shown_scale(double largest, const std::string& unit) {
  if (takes_prefix(unit)) {
    const Prefix prefix = prefix_for(largest, unit);
    return {prefix.factor, std::string(prefix.symbol) + unit_symbol(unit)};
  }
  constexpr double smallest_plain = 1e-3, largest_plain = 1e6;
  if (!(largest > 0) || (largest >= smallest_plain && largest < largest_plain)) return {1, unit_symbol(unit)};
  const int exponent = 3 * static_cast<int>(std::floor(std::log10(largest) / 3));
  const std::string power = power_of_ten(exponent);
  return {std::pow(10.0, exponent), unit.empty() ? power : power + " " + unit_symbol(unit)};
}

std::vector<ShownColumn> shown_columns(const Table& table) {
  std::size_t count = table.columns.size();
  for (const auto& row : table.rows) count = std::max(count, row.size());
  std::vector<Plan> plans;
  for (std::size_t at = 0; at < count; ++at) {
    std::vector<Table::Cell> cells;
    cells.reserve(table.rows.size());
    for (const auto& row : table.rows) cells.push_back(at < row.size() ? row[at] : Table::Cell("-"));
    plans.push_back(
        plan_of(at < table.columns.size() ? table.columns[at] : Table::Column{}, std::move(cells)));
  }
  share_prefixes(plans);
  lend_prefixes(plans);
  std::vector<ShownColumn> columns;
  for (const Plan& plan : plans) columns.push_back(shown_column(plan));
  return columns;
}

}  // namespace firstedge
