#include "firstedge/io/reading_account_json.hpp"

#include "firstedge/core/error.hpp"
#include "firstedge/io/flat_json.hpp"

namespace firstedge {

using Json = nlohmann::ordered_json;

std::string reading_account_json(const ReadingAccount& account) {
  Json problems = Json::array();
  for (const Error& problem : account.problems)
    problems.push_back({problem.place(), problem.problem(), problem.remedy()});
  const Json json = {{"records_good", account.records_good},
                     {"records_bad", account.records_bad},
                     {"traces_missing", account.traces_missing},
                     {"problems", problems},
                     {"remarks", account.remarks}};
  return json.dump(-1, ' ', false, Json::error_handler_t::replace);
}

ReadingAccount reading_account_from_json(std::string_view text, const std::string& place) {
  const Error refusal(place, "the account is not the JSON text it should be", "delete the file");
  try {
    const Json json = flat_json(text, refusal);
    ReadingAccount account{.records_good = json.at("records_good"),
                           .records_bad = json.at("records_bad"),
                           .traces_missing = json.at("traces_missing"),
                           .problems = {},
                           .remarks = json.at("remarks")};
    for (const Json& problem : json.at("problems"))
      account.problems.emplace_back(problem.at(0), problem.at(1), problem.at(2));
    return account;
  } catch (const Json::exception&) {
    throw Error(refusal);
  }
}

}  // namespace firstedge
