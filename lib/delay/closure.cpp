#include "firstedge/delay/closure.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/stats/least_squares.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numeric>

#include <Eigen/Dense>
#include <fmt/format.h>
#include <fmt/ranges.h>

namespace firstedge {
namespace {

using Eigen::Index;
using Eigen::MatrixXd;
using Eigen::RowVectorXd;
using Eigen::VectorXd;

constexpr std::size_t most_measurements = 1000;

std::size_t place_of(std::vector<std::string>& names, const std::string& name) {
  const auto found = std::find(names.begin(), names.end(), name);
  if (found != names.end()) return static_cast<std::size_t>(found - names.begin());
  names.push_back(name);
  return names.size() - 1;
}

void check(const std::vector<MeasuredDifference>& measured) {
  if (measured.empty() || measured.size() > most_measurements)
    throw Error("differences", fmt::format("there are {}", measured.size()),
                fmt::format("give 1 to {}", most_measurements));
  for (std::size_t i = 0; i < measured.size(); ++i) {
    const MeasuredDifference& each = measured[i];
    const std::string place = fmt::format("differences, row {}", i + 1);
    if (!std::isfinite(each.difference_s.value) || !(each.difference_s.uncertainty > 0) ||
        !std::isfinite(each.difference_s.uncertainty))
      throw Error(place, "has no finite value with a positive uncertainty",
                  "give both, or leave the row out");
    if (each.first == each.second)
      throw Error(place, fmt::format("compares '{}' with itself", each.first), "name two things");
  }
}

// Rows of the design: +1 and -1 for the two, +1 for the offset; the reference has no column.
struct Network {
  std::vector<std::string> names, offsets;
  std::size_t reference = 0;
  MatrixXd design;
  VectorXd values, uncertainties;

  Index column_of(std::size_t name) const { return static_cast<Index>(name < reference ? name : name - 1); }
  Index offset_column(std::size_t offset) const { return static_cast<Index>(names.size() - 1 + offset); }
};

Network network_of(const std::vector<MeasuredDifference>& measured, const std::string& reference) {
  Network network;
  for (const MeasuredDifference& each : measured) {
    place_of(network.names, each.first);
    place_of(network.names, each.second);
    if (!each.offset.empty()) place_of(network.offsets, each.offset);
  }
  if (!reference.empty()) {
    const auto found = std::find(network.names.begin(), network.names.end(), reference);
    if (found == network.names.end())
      throw Error(fmt::format("reference '{}'", reference), "is in no measurement",
                  fmt::format("take one of {}", fmt::join(network.names, ", ")));
    network.reference = static_cast<std::size_t>(found - network.names.begin());
  }
  const auto rows = static_cast<Index>(measured.size());
  network.design =
      MatrixXd::Zero(rows, static_cast<Index>(network.names.size() - 1 + network.offsets.size()));
  network.values.resize(rows);
  network.uncertainties.resize(rows);
  for (Index row = 0; row < rows; ++row) {
    const MeasuredDifference& each = measured[static_cast<std::size_t>(row)];
    const std::size_t first = place_of(network.names, each.first);
    const std::size_t second = place_of(network.names, each.second);
    if (first != network.reference) network.design(row, network.column_of(first)) += 1;
    if (second != network.reference) network.design(row, network.column_of(second)) -= 1;
    if (!each.offset.empty())
      network.design(row, network.offset_column(place_of(network.offsets, each.offset))) += 1;
    network.values[row] = each.difference_s.value;
    network.uncertainties[row] = each.difference_s.uncertainty;
  }
  return network;
}

// Measurements in order: those that tell something new make a basis; each other one closes a loop.
struct Basis {
  std::vector<Index> rows;
  MatrixXd design;  // of those rows
};

constexpr double rounding = 1e-9;  // entries of the design are 0 and +-1

// The combination of the basis that gives a row; nothing within rounding if there is none.
VectorXd combination_of(const Basis& basis, const RowVectorXd& row) {
  if (basis.rows.empty()) return {};
  return basis.design.transpose().colPivHouseholderQr().solve(row.transpose());
}

std::vector<Misclosure> loops_of(const Network& network) {
  std::vector<Misclosure> loops;
  Basis basis{.rows = {}, .design = MatrixXd(0, network.design.cols())};
  for (Index row = 0; row < network.design.rows(); ++row) {
    const VectorXd combination = combination_of(basis, network.design.row(row));
    const RowVectorXd left =
        combination.size() == 0
            ? RowVectorXd(network.design.row(row))
            : RowVectorXd(network.design.row(row) - combination.transpose() * basis.design);
    if (left.norm() > rounding) {
      basis.rows.push_back(row);
      basis.design.conservativeResize(basis.design.rows() + 1, Eigen::NoChange);
      basis.design.bottomRows(1) = network.design.row(row);
      continue;
    }
    Misclosure loop{.closing = static_cast<std::size_t>(row), .through = {}, .misclosure_s = {}};
    double determined = 0, variance = network.uncertainties[row] * network.uncertainties[row];
    for (Index i = 0; i < combination.size(); ++i) {
      if (std::abs(combination[i]) < rounding) continue;
      const Index other = basis.rows[static_cast<std::size_t>(i)];
      determined += combination[i] * network.values[other];
      variance += std::pow(combination[i] * network.uncertainties[other], 2);
      loop.through.push_back(static_cast<std::size_t>(other));
    }
    loop.misclosure_s = {network.values[row] - determined, std::sqrt(variance)};
    loops.push_back(std::move(loop));
  }
  return loops;
}

// Unknowns that move freely: entries in the null space of the design.
void check_ties(const Network& network) {
  Eigen::FullPivLU<MatrixXd> solver(network.design);
  solver.setThreshold(rounding);
  if (solver.rank() == network.design.cols()) return;
  const MatrixXd free = solver.kernel();
  std::vector<std::string> loose;
  for (std::size_t i = 0; i < network.names.size(); ++i) {
    if (i != network.reference && free.row(network.column_of(i)).norm() > rounding)
      loose.push_back(network.names[i]);
  }
  for (std::size_t i = 0; i < network.offsets.size(); ++i) {
    if (free.row(network.offset_column(i)).norm() > rounding) loose.push_back(network.offsets[i]);
  }
  throw Error("differences",
              fmt::format("do not tie {} to '{}'", fmt::join(loose, ", "), network.names[network.reference]),
              "measure one of them against something that is tied, or the swap that frees an offset");
}

std::vector<ClosureResidual> residuals_of(const Network& network, const LinearFit& fit) {
  const Index columns = network.design.cols();
  const Eigen::Map<const VectorXd> solved(fit.parameters.data(), columns);
  const Eigen::Map<const MatrixXd> covariance(fit.covariance.data(), columns, columns);  // symmetric
  std::vector<ClosureResidual> residuals;
  for (Index row = 0; row < network.design.rows(); ++row) {
    const RowVectorXd design = network.design.row(row);
    const double own = network.uncertainties[row] * network.uncertainties[row];
    const double variance = own - (design * covariance * design.transpose())(0);
    const double residual = network.values[row] - design.dot(solved.transpose());
    // A measurement that nothing else checks has a residual of 0 with variance 0.
    const double deviation = variance > 1e-9 * own ? std::sqrt(variance) : 0;
    const double normalised = deviation > 0 ? residual / deviation : std::numeric_limits<double>::quiet_NaN();
    residuals.push_back({residual, deviation, normalised});
  }
  return residuals;
}

}  // namespace

Swap swap_of(const Estimate& ahead, const Estimate& exchanged) {
  const double uncertainty = 0.5 * std::hypot(ahead.uncertainty, exchanged.uncertainty);
  const double freedom = std::min(ahead.degrees_of_freedom, exchanged.degrees_of_freedom);
  return {{0.5 * (ahead.value - exchanged.value), uncertainty, freedom},
          {0.5 * (ahead.value + exchanged.value), uncertainty, freedom}};
}

Closure close_network(const std::vector<MeasuredDifference>& measured, const std::string& reference) {
  check(measured);
  const Network network = network_of(measured, reference);
  check_ties(network);
  const std::size_t rows = measured.size();
  std::vector<double> covariance(rows * rows, 0.0), design;
  for (std::size_t row = 0; row < rows; ++row) {
    const auto at = static_cast<Index>(row);
    covariance[row * rows + row] = network.uncertainties[at] * network.uncertainties[at];
    for (Index column = 0; column < network.design.cols(); ++column)
      design.push_back(network.design(at, column));
  }
  const LinearFit fit = least_squares(design, std::span(network.values.data(), rows), covariance);

  Closure closure{.names = network.names, .values_s = {}, .offsets = network.offsets};
  for (std::size_t i = 0; i < network.names.size(); ++i)
    closure.values_s.push_back(i == network.reference
                                   ? Estimate{0, 0}
                                   : fit.parameter(static_cast<std::size_t>(network.column_of(i))));
  for (std::size_t i = 0; i < network.offsets.size(); ++i)
    closure.offset_values_s.push_back(fit.parameter(static_cast<std::size_t>(network.offset_column(i))));
  closure.loops = loops_of(network);
  closure.residuals = residuals_of(network, fit);
  closure.chi_square = fit.chi_square;
  closure.degrees_of_freedom = fit.degrees_of_freedom;
  closure.probability = fit.probability;
  return closure;
}

}  // namespace firstedge
