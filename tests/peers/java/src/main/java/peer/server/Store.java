package peer.server;

import ca.uhn.fhir.batch2.jobs.config.Batch2JobsConfig;
import ca.uhn.fhir.batch2.maintenance.JobMaintenanceServiceImpl;
import ca.uhn.fhir.context.FhirContext;
import ca.uhn.fhir.jpa.api.config.JpaStorageSettings;
import ca.uhn.fhir.jpa.api.config.ThreadPoolFactoryConfig;
import ca.uhn.fhir.jpa.batch2.JpaBatch2Config;
import ca.uhn.fhir.jpa.binary.api.IBinaryStorageSvc;
import ca.uhn.fhir.jpa.binstore.DatabaseBinaryContentStorageSvcImpl;
import ca.uhn.fhir.jpa.config.HapiJpaConfig;
import ca.uhn.fhir.jpa.config.r4.JpaR4Config;
import ca.uhn.fhir.jpa.config.util.HapiEntityManagerFactoryUtil;
import ca.uhn.fhir.jpa.model.config.PartitionSettings;
import ca.uhn.fhir.jpa.model.config.SubscriptionSettings;
import ca.uhn.fhir.jpa.model.dialect.HapiFhirH2Dialect;
import ca.uhn.fhir.jpa.searchparam.submit.config.SearchParamSubmitterConfig;
import ca.uhn.fhir.jpa.subscription.channel.config.SubscriptionChannelConfig;
import ca.uhn.fhir.jpa.subscription.match.config.SubscriptionProcessorConfig;
import ca.uhn.fhir.jpa.subscription.match.deliver.email.IEmailSender;
import ca.uhn.fhir.jpa.subscription.submit.config.SubscriptionSubmitterConfig;
import jakarta.persistence.EntityManagerFactory;
import java.util.Properties;
import javax.sql.DataSource;
import org.apache.commons.dbcp2.BasicDataSource;
import org.hl7.fhir.dstu2.model.Subscription.SubscriptionChannelType;
import org.springframework.beans.factory.config.BeanPostProcessor;
import org.springframework.beans.factory.config.ConfigurableListableBeanFactory;
import org.springframework.context.annotation.Bean;
import org.springframework.context.annotation.Configuration;
import org.springframework.context.annotation.Import;
import org.springframework.context.annotation.Primary;
import org.springframework.orm.jpa.JpaTransactionManager;
import org.springframework.orm.jpa.LocalContainerEntityManagerFactoryBean;

/**
 * What HAPI's R4 store needs to know from outside: the database, and how it
 * is to behave.  All that is not set here is left as HAPI ships it, since a
 * test wants to meet the server as a site would.
 */
@Configuration
@Import({JpaR4Config.class, HapiJpaConfig.class, JpaBatch2Config.class,
    Batch2JobsConfig.class, SubscriptionSubmitterConfig.class,
    SubscriptionProcessorConfig.class, SubscriptionChannelConfig.class,
    SearchParamSubmitterConfig.class, ThreadPoolFactoryConfig.class})
public class Store {
    /** Connections at once: more than Jetty's threads ever ask for. */
    private static final int CONNECTIONS = 40;
    private static final long JOB_TICK_MS = 1000;

    @Bean
    public DataSource dataSource(Options options) {
        BasicDataSource source = new BasicDataSource();
        source.setDriver(new org.h2.Driver());
        // A commit is on the disk before its answer goes out, so that a
        // killed server has after its restart all that it had confirmed;
        // "retry" since an interrupted thread would close the file else.
        source.setUrl(options.data() == null ? "jdbc:h2:mem:peer"
            : "jdbc:h2:retry:" + options.data().resolve("store")
                + ";WRITE_DELAY=0;DB_CLOSE_ON_EXIT=FALSE;TRACE_LEVEL_FILE=0");
        source.setUsername("sa");
        source.setPassword("");
        source.setMaxTotal(CONNECTIONS);
        source.setMaxIdle(CONNECTIONS);
        return source;
    }

    @Bean
    public LocalContainerEntityManagerFactoryBean entityManagerFactory(
        ConfigurableListableBeanFactory beans, FhirContext context,
        JpaStorageSettings settings, DataSource source) {
        LocalContainerEntityManagerFactoryBean factory =
            HapiEntityManagerFactoryUtil.newEntityManagerFactory(beans,
                context, settings);
        factory.setPersistenceUnitName("peer");
        factory.setDataSource(source);
        Properties jpa = new Properties();
        jpa.put("hibernate.dialect", HapiFhirH2Dialect.class.getName());
        jpa.put("hibernate.hbm2ddl.auto", "update");
        jpa.put("hibernate.search.enabled", "false");
        jpa.put("hibernate.jdbc.batch_size", "20");
        jpa.put("hibernate.cache.use_query_cache", "false");
        jpa.put("hibernate.cache.use_second_level_cache", "false");
        factory.setJpaProperties(jpa);
        return factory;
    }

    @Bean
    @Primary
    public JpaTransactionManager transactionManager(
        EntityManagerFactory factory) {
        JpaTransactionManager manager = new JpaTransactionManager();
        manager.setEntityManagerFactory(factory);
        return manager;
    }

    @Bean
    public JpaStorageSettings storageSettings(Options options) {
        JpaStorageSettings settings = new JpaStorageSettings();
        if (!options.stale()) {
            // An answer of a minute ago would hide what a test just wrote.
            settings.setReuseCachedSearchResultsForMillis(null);
        }
        return settings;
    }

    /**
     * Lets the steps of an $export follow each other by seconds; as shipped
     * they wait for a minute's tick, and no test has that time.
     */
    @Bean
    public static BeanPostProcessor quickJobs() {
        return new BeanPostProcessor() {
            @Override
            public Object postProcessBeforeInitialization(Object bean,
                String name) {
                if (bean instanceof JobMaintenanceServiceImpl jobs) {
                    jobs.setScheduledJobFrequencyMillis(JOB_TICK_MS);
                }
                return bean;
            }
        };
    }

    @Bean
    public SubscriptionSettings subscriptionSettings() {
        SubscriptionSettings settings = new SubscriptionSettings();
        settings.addSupportedSubscriptionType(
            SubscriptionChannelType.RESTHOOK);
        return settings;
    }

    @Bean
    public PartitionSettings partitionSettings() {
        return new PartitionSettings();
    }

    @Bean
    public IBinaryStorageSvc binaryStorage() {
        return new DatabaseBinaryContentStorageSvcImpl();
    }

    /** Only rest-hook is on: nothing may ever leave as e-mail. */
    @Bean
    public IEmailSender emailSender() {
        return details -> {
            throw new UnsupportedOperationException("e-mail is off");
        };
    }
}
